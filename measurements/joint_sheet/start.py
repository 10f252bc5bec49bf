"""What a joint sheet starts from: an instrument's facts, or the usual dimensions of one not yet built."""

from dataclasses import dataclass, fields
from math import isnan

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext
from numpy.typing import ArrayLike

from geometry.action import Neck
from geometry.constants import RATE_YEARS, SADDLE_STEP_MM
from geometry.crossing import lasting_rise
from geometry.lift import LiftPrior
from geometry.options import Bench
from geometry.readings import Joint, Readings, Targets, complete, saddle_height_on_line, two_sided
from geometry.what_if import lift_of_new
from instruments.defaults import USUAL_DIMENSIONS, USUAL_JOINT
from instruments.models import Instrument, JointKind, Strings
from instruments.string_sets import USUAL_SETS, set_named
from measurements.advice.counsel import Counsel
from measurements.facts.certainty import gauges_of
from measurements.forecast.outlooks import shop_targets
from measurements.models import SIDES, ShopPrior
from shop.figures import counted
from shop.models import ShopProfile

#: Where a figure is from; shown in the reader's language.
MEASURED, ON_RECORD = gettext_noop("measured"), gettext_noop("on record")
USUAL, ASSUMED = gettext_noop("usual"), gettext_noop("assumed")
#: Distance between two pivot screws. Planning default, no source.
SCREW_SPACING_MM = 40.0
FRET_COUNT = 20
OTHER_THREAD = "other"
USUAL_THREAD = "M6"


@dataclass(frozen=True)
class Lift:
    """Lift to come in 30 years, low, likely and high (10, 50 and 90 %), and what that rests on. [mm]"""

    mm: tuple[float, float, float]
    source: str


@dataclass(frozen=True)
class Start:
    """Figures by the form's names [mm, °], where each is from, and what the shop asks for."""

    name: str
    instrument: Instrument | None
    figures: dict[str, float]
    origins: dict[str, str]
    choices: dict[str, str]
    targets: Targets
    profile: ShopProfile
    shims_mm: tuple[float, ...]
    shim_now_mm: float
    one_way: bool
    rise_gain: float
    lift: Lift

    def bench(self, neck: Neck, readings: Readings, joint: Joint, frets: tuple[int, ...]) -> Bench:
        return Bench(
            neck=two_sided(neck),
            set_up=complete(neck, readings, self.targets),
            targets=self.targets,
            joint=joint,
            set_frets=frets,
            gauges=gauges_of(self.profile),
        )


def both(name: str, values: np.ndarray) -> dict[str, float]:
    """``{"saddle_bass_mm": …, "saddle_treble_mm": …}`` from an array of the two sides."""
    return {name.format(side): float(v) for side, v in zip(SIDES, values, strict=True)}


def start_of(now: Counsel) -> Start:
    """An instrument as it stands today, with what was assumed where nothing is on record."""
    found, joint = now.instrument, now.joint
    own_joint = found.joint
    set_up = complete(now.neck, now.readings, now.targets)
    readings = {
        "bridge_rise_mm": float(set_up.bridge_rise_mm),
        "relief_mm": float(set_up.relief_mm),
        **both("saddle_{}_mm", set_up.saddle_mm),
        **both("action_1_{}_mm", set_up.action_1_mm),
        **both("action_12_{}_mm", np.asarray(now.readings.action_12_mm)),
    }
    known = {
        "bridge_rise_mm": now.readings.bridge_rise_mm,
        "relief_mm": now.readings.relief_mm,
        **both("saddle_{}_mm", np.asarray(now.readings.saddle_mm)),
        **both("action_1_{}_mm", np.asarray(now.readings.action_1_mm)),
        **both("action_12_{}_mm", np.asarray(now.readings.action_12_mm)),
    }
    origins = {
        name: ASSUMED if isnan(float(np.asarray(value))) else MEASURED
        for name, value in known.items()
    }
    if isnan(readings["bridge_rise_mm"]):
        wanted = np.asarray(now.targets.action_12_mm, float)
        read = np.asarray(now.readings.action_12_mm, float)
        height = saddle_height_on_line(
            two_sided(now.neck),
            action_1_mm=set_up.action_1_mm,
            action_12_mm=np.where(np.isnan(read), wanted, read),
            relief_mm=set_up.relief_mm,
        )
        readings["bridge_rise_mm"] = float(_stepped(np.mean(height - set_up.saddle_mm)))
    radius = float(np.asarray(now.neck.fretboard_radius_mm))
    neck = {field.name: float(getattr(now.neck, field.name)) for field in fields(now.neck)}
    neck |= {"fretboard_radius_mm": 0.0 if np.isinf(radius) else radius}
    joints = {
        "pivot_depth_mm": joint.pivot_depth_mm,
        "heel_depth_mm": joint.heel_depth_mm,
        "bolt_arm_mm": float(joint.bolt_arm_mm or USUAL_JOINT["bolt_arm_mm"]),
        "tilt_max_deg": joint.tilt_max_deg,
    }
    origins |= {n: USUAL if getattr(found, n) is None else ON_RECORD for n in neck}
    origins |= {n: USUAL if getattr(own_joint, n) is None else ON_RECORD for n in joints}
    settings = {
        "tilt_now_deg": joint.tilt_now_deg,
        "tilt_min_deg": joint.tilt_min_deg,
        "fret_count": float(found.fret_count),
    }
    origins |= dict.fromkeys(settings, ON_RECORD) | {"screw_spacing_mm": USUAL}
    figures = {**readings, **neck, **joints, **settings, "screw_spacing_mm": SCREW_SPACING_MM}
    thread = USUAL_THREAD
    if own_joint.thread_pitch_mm is not None:
        thread = OTHER_THREAD
        figures["thread_pitch_mm"] = own_joint.thread_pitch_mm
        origins["thread_pitch_mm"] = ON_RECORD
    named = set_named(found.string_set, found.strings)
    return Start(
        name=str(found),
        instrument=found,
        figures={name: value for name, value in figures.items() if not isnan(value)},
        origins=origins,
        choices={
            "kind": own_joint.kind,
            "thread": thread,
            "string_set": named.key if named else USUAL_SETS[Strings(found.strings)],
        },
        targets=now.targets,
        profile=now.profile,
        shims_mm=joint.shims_mm,
        shim_now_mm=joint.shim_now_mm,
        one_way=joint.one_way,
        rise_gain=joint.rise_gain if own_joint.is_adjustable else 1.0,
        lift=lift_of(now),
    )


def lift_of(now: Counsel) -> Lift:
    """Lift of an instrument in the next 30 years, from the forecast that its dates rest on."""
    facts = now.facts
    rise_mm = float(facts.bridge_rise_mm[0])
    if not facts.readings[0] or isnan(rise_mm):
        prior = LiftPrior() if now.prior is None else now.prior
        return _lift(prior, _("what is usual for such instruments: this one was not measured yet"))
    ages = np.array([[float(facts.age_now_years[0]) + RATE_YEARS]])
    then = lasting_rise(now.fit, ages)[0, 0] + float(facts.offset_now_mm[0])
    count = int(facts.readings[0])
    words = ngettext(
        "the outlook of this instrument, %(count)s reading, counted from today's bridge rise",
        "the outlook of this instrument, %(count)s readings, counted from today's bridge rise",
        count,
    ) % {"count": count}
    low, likely, high = (float(mm - rise_mm) for mm in then)
    return Lift((low, likely, high), words)


def _lift(prior: LiftPrior, source: str) -> Lift:
    low, likely, high = (float(mm) for mm in np.ravel(lift_of_new(prior)))
    return Lift((low, likely, high), source)


def start_of_new(strings: str = Strings.STEEL) -> Start:
    """A joint not yet built: usual dimensions, and saddles that give the shop's own targets."""
    profile = ShopProfile.current()
    kind = Strings(strings)
    targets = _targets(profile, kind)
    neck = dict(USUAL_DIMENSIONS[kind])
    relief_mm = float(np.mean(targets.relief_window_mm))
    height = saddle_height_on_line(
        two_sided(_neck(neck)),
        action_1_mm=targets.action_1_mm,
        action_12_mm=targets.action_12_mm,
        relief_mm=relief_mm,
    )
    # As a reset would leave it: a saddle of as-built height on the whole, each side at its target.
    rise_mm = _stepped(np.mean(height) - targets.saddle_as_built_mm)
    saddle = _stepped(height - rise_mm)
    figures = {
        "bridge_rise_mm": float(rise_mm),
        "relief_mm": relief_mm,
        **both("saddle_{}_mm", saddle),
        **both("action_1_{}_mm", np.asarray(targets.action_1_mm)),
        **neck,
        **{name: mm for name, mm in USUAL_JOINT.items() if name != "thread_pitch_mm"},
        "tilt_now_deg": 0.0,
        "tilt_min_deg": 0.0,
        "fret_count": float(FRET_COUNT),
        "screw_spacing_mm": SCREW_SPACING_MM,
    }
    stored = ShopPrior.objects.filter(pk=1).first()
    if stored is None:
        lift = _lift(LiftPrior(), _("the planning default: no published source"))
    else:
        words = _("what %(count)s of the shop's own instruments taught") % {
            "count": counted(stored.instruments)
        }
        lift = _lift(LiftPrior(**stored.shop), words)
    return Start(
        name=_("A joint not yet built"),
        instrument=None,
        figures=figures,
        origins=dict.fromkeys(figures, USUAL),
        choices={
            "kind": JointKind.TILTING,
            "thread": USUAL_THREAD,
            "string_set": USUAL_SETS[kind],
        },
        targets=targets,
        profile=profile,
        shims_mm=(),
        shim_now_mm=0.0,
        one_way=False,
        rise_gain=1.0,
        lift=lift,
    )


def _stepped(mm: ArrayLike) -> np.ndarray:
    """To the step in which a hand sets a saddle."""
    return np.round(np.asarray(mm) / SADDLE_STEP_MM) * SADDLE_STEP_MM


def _neck(dimensions: dict[str, float]) -> Neck:
    radius = dimensions["fretboard_radius_mm"] or None
    return Neck(**{**dimensions, "fretboard_radius_mm": radius})  # type: ignore[arg-type]


def _targets(profile: ShopProfile, strings: Strings) -> Targets:
    """The shop's targets for strings of a kind."""

    def sides(fret: int) -> tuple[float, float]:
        bass, treble = (getattr(profile, f"{strings}_action_{fret}_{side}_mm") for side in SIDES)
        return bass, treble

    return shop_targets(profile, sides(12), sides(1))
