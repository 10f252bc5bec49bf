"""The report's table of readings: what was measured beside what is wanted."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from geometry.readings import Targets
from geometry.units import LengthUnit
from measurements.drawings.parts import figure
from measurements.drawings.side_view import Measured
from measurements.models import SIDES, CheckIn
from shop.figures import decimal, length_words


def reading_rows(
    check_ins: list[CheckIn], readings: list[Measured], targets: Targets, unit: LengthUnit
) -> list[dict[str, Any]]:
    """Rows of the table of readings: a name, what is wanted, stage and figure for each check-in.

    Where both sides are measured the bass stands before the treble.
    """
    rows: list[dict[str, Any]] = []
    stages = [capfirst(check_in.get_stage_display()) for check_in in check_ins]

    def add(name: str, wanted: str, *values: Sequence[float | None]) -> None:
        if any(mm is not None for pair in values for mm in pair):
            figures = [side_by_side(pair, unit) for pair in values]
            cells = [list(cell) for cell in zip(stages, figures, strict=True)]
            rows.append({"name": name, "wanted": wanted, "values": cells})

    aims = {1: targets.action_1_mm, 12: targets.action_12_mm}
    for fret in sorted({fret for reading in readings for fret, _side in reading.actions_mm}):
        wanted = side_by_side(np.asarray(aims[fret], float).tolist(), unit) if fret in aims else ""
        pairs = ([r.actions_mm.get((fret, side)) for side in SIDES] for r in readings)
        add(_("Action at fret %(fret)d") % {"fret": fret}, wanted, *pairs)
    floor = length_words(float(np.asarray(targets.saddle_floor_mm)), unit)
    least = _("at least %(length)s") % {"length": floor}
    add(_("Saddle height"), least, *(reading.saddle_mm for reading in readings))
    low, high = (figure(float(mm), unit) for mm in targets.relief_window_mm)
    window = _("%(low)s to %(high)s") % {"low": low, "high": f"{high} {unit}"}
    add(_("Relief"), window, *([reading.relief_mm] for reading in readings))
    add(_("Bridge rise"), "", *([reading.bridge_rise_mm] for reading in readings))
    air = [_air(check_in) for check_in in check_ins]
    if any(air):
        cells = [[stage, words or "–"] for stage, words in zip(stages, air, strict=True)]
        rows.append({"name": _("Air in the workshop"), "wanted": "", "values": cells})
    return rows


def side_by_side(pair: Sequence[float | None], unit: LengthUnit) -> str:
    """``2.40 / 1.60 mm``, bass before treble, or one length; a dash for what was not measured."""
    figures = ["–" if mm is None else figure(float(mm), unit) for mm in pair]
    return "–" if set(figures) == {"–"} else f"{' / '.join(figures)} {unit}"


def _air(check_in: CheckIn) -> str:
    parts = []
    if check_in.humidity_pct is not None:
        parts.append(_("%(percent)s %% RH") % {"percent": decimal(check_in.humidity_pct, 0)})
    if check_in.temperature_c is not None:
        parts.append(f"{decimal(check_in.temperature_c, 0)} °C")
    return ", ".join(parts)
