"""What a form of work suggests, and what its figures would lead to, before anything is logged."""

from math import isnan
from typing import Any, NamedTuple
from uuid import uuid4

import numpy as np
from django.utils import timezone

from geometry.advice import Option
from geometry.foretell import Foretold
from geometry.units import LengthUnit
from instruments.models import Instrument
from measurements.advice.counsel import Counsel
from measurements.check_ins.labels import fret_words
from measurements.models import SIDES, Work, WorkKind
from measurements.work.forms import LOWER, RAISE, WorkForm
from measurements.work.turning import turns_text
from shop.fields import exact_in_box, is_readable, length_in_box


class ForetoldRow(NamedTuple):
    place: str
    before_mm: float
    after_mm: float
    wanted_mm: float | None
    misses: bool


def trial(
    form_class: type[WorkForm], instrument: Instrument, unit: LengthUnit, suggested: dict[str, Any]
) -> WorkForm:
    """The form as if what is suggested had been sent, so that its result shows from the start."""
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), "notes": "–"}
    return form_class(data | suggested, instrument=instrument, unit=unit)


def suggested(now: Counsel, unit: LengthUnit, kind: str) -> dict[str, Any]:
    """What stands now, and the amounts the advice gives for this kind of work, to be changed freely.

    Where the readings are to be taken again first, no amount is suggested: only what stands.
    """
    initial = {
        f"saddle_{side}_from_mm": float(now.facts.saddle_mm[0, place])
        for place, side in enumerate(SIDES)
    }
    initial["relief_from_mm"] = float(now.facts.relief_mm[0])
    if now.advice.first_step == "remeasure":
        return _in_unit(initial, unit) | _saddle_length(now, kind)
    if kind == WorkKind.RELIEF:
        initial["relief_to_mm"] = float(np.mean(now.targets.relief_window_mm))
    if kind == WorkKind.NUT:
        wanted = np.asarray(now.targets.action_1_mm, dtype=float)
        initial |= {f"nut_{side}_to_mm": float(wanted[place]) for place, side in enumerate(SIDES)}
    option = option_for(now, kind)
    if option is None:
        return _in_unit(initial, unit) | _saddle_length(now, kind)
    if kind in (WorkKind.SADDLE, WorkKind.RESET) and option.saddle_cut_mm.any():
        initial |= {
            f"saddle_{side}_to_mm": float(option.saddle_after_mm[place])
            for place, side in enumerate(SIDES)
        }
    if kind == WorkKind.RESET:
        initial["wedge_mm"] = option.wedge_mm
    shown = _in_unit(initial, unit) | _saddle_length(now, kind)
    if option.shim_mm is not None:
        shown["shim_to_mm"] = exact_in_box(option.shim_mm)
    if option.turns:
        shown["turns"] = turns_text(option.turns)
        shown["sense"] = LOWER if option.turns > 0 else RAISE
    return shown


def _saddle_length(now: Counsel, kind: str) -> dict[str, str]:
    """The saddle's length as it was given with the saddle's last work."""
    if kind != WorkKind.SADDLE:
        return {}
    works = Work.objects.standing().filter(instrument=now.instrument, kind=kind)
    for work in works.order_by("-done_at", "-pk")[:5]:
        length = work.as_typed.get("saddle_length_mm")
        if length and is_readable(
            length
        ):  # a bare number was typed in the unit of whoever typed it
            bare = str(length).replace(".", "").replace(",", "").isdigit()
            unit = f" {work.as_typed.get('unit', 'mm')}" if bare else ""
            return {"saddle_length_mm": f"{length}{unit}"}
    return {}


def _in_unit(figures: dict[str, float], unit: LengthUnit) -> dict[str, Any]:
    return {name: length_in_box(mm, unit) for name, mm in figures.items() if not isnan(mm)}


def option_for(now: Counsel, kind: str) -> Option | None:
    """The recommended option if it has this kind of work in it, else the feasible one that has.

    None where the readings are to be taken again first.
    """
    if now.advice.first_step == "remeasure":
        return None
    keys = {
        WorkKind.JOINT: ("tilt", "tilt_and_saddle"),
        WorkKind.SADDLE: ("tilt_and_saddle", "saddle"),
        WorkKind.RESET: ("reset",),
    }.get(WorkKind(kind), ())
    fitting = [option for option in now.advice.options if option.key in keys and option.feasible]
    chosen = [option for option in fitting if option.key == now.advice.recommended]
    return next(iter(chosen + fitting), None)


def foretold_rows(foretold: Foretold, now: Counsel) -> list[ForetoldRow]:
    """Action now and after for each set fret and side, with what is wanted where there is a target."""
    targets = {1: now.targets.action_1_mm, 12: now.targets.action_12_mm}
    tolerances = {1: now.targets.nut_tolerance_mm, 12: now.targets.action_tolerance_mm}
    rows = []
    for fret, before, after in zip(
        foretold.set_frets, foretold.action_before_mm, foretold.action_after_mm, strict=True
    ):
        for place, side in enumerate(SIDES):
            wanted = None
            if fret in targets:
                wanted = float(np.asarray(targets[fret], dtype=float)[place])
            misses = wanted is not None and abs(after[place] - wanted) > tolerances[fret] + 1e-9
            rows.append(
                ForetoldRow(
                    fret_words(fret, side),
                    float(before[place]),
                    float(after[place]),
                    wanted,
                    misses,
                )
            )
    return rows
