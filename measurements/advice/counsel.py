"""One instrument's advice: facts in, geometry's options out, with the dates that each leads to."""

from dataclasses import dataclass, fields
from datetime import date
from functools import cached_property

import numpy as np
from django.utils import timezone

from geometry.action import Neck
from geometry.advice import Advice, Joint, Option, Readings, Targets, advise
from geometry.foretell import Foretold, foretell
from geometry.lift import LiftFit, LiftPrior
from geometry.options import Bench
from geometry.readings import complete, two_sided
from instruments.defaults import joint_dimension
from instruments.models import Instrument
from measurements.advice.change import Change
from measurements.facts.arrays import Facts, gather, gather_with
from measurements.facts.certainty import picked
from measurements.facts.fits import fit_facts
from measurements.facts.provisional import Provisional
from measurements.facts.rows import date_of
from measurements.forecast.outlooks import (
    MARKS,
    crossing_days,
    fit_and_surprise,
    readings_of,
    targets_of,
)
from measurements.forecast.prior import prior_for
from measurements.work.joint_reach import tilt_to_go_back_to
from shop.models import ShopProfile

Dates = dict[str, date | None]


@dataclass(frozen=True)
class Counsel:
    """What is known of one instrument now and what may be done about it.

    ``facts``, and the ``fit`` to them, hold the reading that is being typed, if there is one, and
    ``on_record`` only what is saved.
    """

    instrument: Instrument
    today: date
    profile: ShopProfile
    facts: Facts
    on_record: Facts
    fit: LiftFit
    prior: LiftPrior | None
    neck: Neck
    readings: Readings
    targets: Targets
    joint: Joint
    set_frets: tuple[int, ...]
    advice: Advice

    @property
    def recommended(self) -> Option | None:
        """The option to take now; None where nothing, or something else first, is to be done."""
        for option in self.advice.options:
            if option.key == self.advice.recommended:
                return option
        return None

    @cached_property
    def fit_on_record(self) -> LiftFit:
        """The lift as it was known before the reading that is being typed."""
        saved = self.on_record is self.facts
        return self.fit if saved else fit_facts(self.on_record, self.prior)

    @cached_property
    def option_dates(self) -> dict[str, Dates]:
        """By option: when the saddle would be spent and a reset due, early, likely and late."""
        options = self.advice.options
        if not options or self.facts.readings[0] == 0:
            return {}
        now = float(self.facts.bridge_rise_mm[0])
        # Limits on today's setting: what an option lowers the bridge by is lift won.
        spent = [o.rise_limit_after_mm - (o.bridge_rise_after_mm - now) for o in options]
        due = [at + o.joint_room_after_mm for at, o in zip(spent, options, strict=True)]
        days = crossing_days(self.fit, self.facts, np.array([spent + due]))[0]
        dates = [[date_of(day) if np.isfinite(day) else None for day in row] for row in days]
        return {
            option.key: {
                **{f"saddle_spent_{m}": d for m, d in zip(MARKS, dates[place], strict=True)},
                **{
                    f"reset_{m}": d for m, d in zip(MARKS, dates[len(options) + place], strict=True)
                },
            }
            for place, option in enumerate(options)
        }

    def foretell(self, change: Change) -> Foretold | None:
        """What a piece of work should do to the action; None where too little is known."""
        if change.tilt_deg is None:
            return None
        set_up = complete(self.neck, self.readings, self.targets)
        if np.isnan(set_up.bridge_rise_mm) or np.isnan(set_up.action_12_mm).any():
            return None
        bench = Bench(
            neck=two_sided(self.neck),
            set_up=set_up,
            targets=self.targets,
            joint=self.joint,
            set_frets=self.set_frets,
            gauges=picked(self.facts.gauges, 0),
        )
        return foretell(
            bench,
            tilt_deg=change.tilt_deg * (self.joint.rise_gain if change.by_joint else 1.0),
            saddle_mm=np.array(change.saddle_mm, dtype=float),
            relief_mm=change.relief_mm,
            action_1_mm=np.array(change.action_1_mm, dtype=float),
        )


def counsel(
    instrument: Instrument,
    *,
    as_of: date | None = None,
    typed: Provisional | None = None,
) -> Counsel:
    """Advice for an instrument as it stands, or as it will be once the reading ``typed`` is saved."""
    profile = ShopProfile.current()
    today = as_of or timezone.localdate()
    facts = on_record = gather([instrument.pk], today, profile)
    if typed is not None:
        facts = gather_with(on_record, typed, today, profile)
    now = readings_of(facts, row=0)
    prior = prior_for(facts)
    fit, score = fit_and_surprise(facts, prior)
    surprise_z = float(score[0])
    targets = targets_of(facts, profile, row=0)
    neck = neck_of(facts)
    joint = joint_of(instrument, facts)
    frets = tuple(instrument.frets_read())
    return Counsel(
        instrument=instrument,
        today=today,
        profile=profile,
        facts=facts,
        on_record=on_record,
        fit=fit,
        prior=prior,
        neck=neck,
        readings=now,
        targets=targets,
        joint=joint,
        set_frets=frets,
        advice=advise(
            neck,
            now,
            targets,
            joint,
            set_frets=frets,
            uncertainty=picked(facts.gauges, 0),
            surprise_z=None if np.isnan(surprise_z) else surprise_z,
        ),
    )


def neck_of(facts: Facts) -> Neck:
    return Neck(
        **{field.name: float(getattr(facts.neck, field.name)[0]) for field in fields(facts.neck)}
    )


def joint_of(instrument: Instrument, facts: Facts) -> Joint:
    """The joint with its dimensions, its own or the usual ones, as it is set on the day."""
    joint = instrument.joint
    earlier = tilt_to_go_back_to(instrument) if joint.one_way else None
    least = joint.tilt_min_deg if earlier is None else earlier
    tilting = {
        "bolt_arm_mm": joint_dimension("bolt_arm_mm", joint.bolt_arm_mm),
        "thread_pitch_mm": joint_dimension("thread_pitch_mm", joint.thread_pitch_mm),
        "tilt_min_deg": least,
        "tilt_max_deg": max(joint_dimension("tilt_max_deg", joint.tilt_max_deg), least),
    }
    return Joint(
        kind=joint.kind,  # type: ignore[arg-type]
        pivot_depth_mm=float(facts.pivot_depth_mm[0]),
        heel_depth_mm=float(facts.heel_depth_mm[0]),
        tilt_now_deg=float(facts.tilt_now_deg[0]),
        shims_mm=tuple(joint.shims_mm),
        shim_now_mm=max(float(facts.shim_now_mm[0]), 0.0),
        one_way=joint.one_way and earlier is None,
        rise_gain=float(facts.joint_gain[0]),
        u_rise_gain=float(facts.u_joint_gain[0]),
        **tilting,
    )
