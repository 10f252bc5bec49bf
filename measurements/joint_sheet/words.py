"""A joint sheet in words and rows, ready to print."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from geometry.units import LengthUnit
from instruments.models import ADJUSTABLE
from measurements.drawings.parts import figure
from measurements.drawings.side_view import After, Measured, SideView, side_views
from measurements.joint_sheet.ahead_words import ahead_rows, chances, verdict_lines
from measurements.joint_sheet.change_words import change_lines, warning_lines
from measurements.joint_sheet.figures import Figures
from measurements.joint_sheet.forms import SheetForm
from measurements.joint_sheet.joint_words import (
    every_turn_rows,
    joint_lines,
    load_lines,
    total_cells,
    turn_lines,
)
from measurements.joint_sheet.rows import Line, Row
from measurements.joint_sheet.sources import Given, caution_lines, given_figures, source_lines
from measurements.models import SIDES
from shop.figures import length_words


@dataclass(frozen=True)
class Words:
    """What the sheet says, in one unit."""

    changes: list[str]
    warnings: list[str]
    glance: list[Line]
    wanted: str
    actions: tuple[list[Row], list[Row]]
    plane: list[Row]
    joint: list[Line]
    turn: list[Line]
    every_turn: list[Row]
    total: list[str]
    load: list[Line]
    chances: tuple[str, ...]
    ahead: list[Row]
    verdict: list[str]
    cautions: list[str]
    given: list[tuple[str, list[Given]]]
    sources: list[str]
    drawings: tuple[SideView, ...]


def words_of(found: Figures, form: SheetForm) -> Words:
    """Everything the sheet says, in the form's unit."""
    unit = form.unit
    return Words(
        changes=change_lines(found, form),
        warnings=warning_lines(found, form),
        glance=_glance(found, form),
        wanted=_wanted(found, unit),
        actions=_actions(found, unit),
        plane=_plane(found, unit),
        joint=joint_lines(found, form),
        turn=turn_lines(found, form),
        every_turn=every_turn_rows(found, unit),
        total=total_cells(found),
        load=load_lines(found, form),
        chances=chances(),
        ahead=ahead_rows(found, form),
        verdict=verdict_lines(found, form),
        cautions=caution_lines(form.cleaned_data["kind"]),
        given=given_figures(form),
        sources=source_lines(found, form),
        drawings=_drawings(found, form),
    )


def _cells(
    unit: LengthUnit, changed: bool, before: Iterable[float], after: Iterable[float]
) -> list[str]:
    """Bass now and after, treble now and after; without the after where nothing changes."""
    pairs = zip(before, after, strict=True)
    return [figure(float(mm), unit) for pair in pairs for mm in pair[: 1 + changed]]


def _glance(found: Figures, form: SheetForm) -> list[Line]:
    """What most people look for first."""
    unit, case = form.unit, found.case
    (bass, treble), (bass_then, treble_then) = (
        bench.set_up.action_12_mm for bench in (case.before, case.after)
    )
    said = [
        Line(_("Action at 12, bass"), _moved(found, float(bass), float(bass_then), unit)),
        Line(_("Action at 12, treble"), _moved(found, float(treble), float(treble_then), unit)),
        Line(_("Bridge rise"), _moved(found, case.before.rise_mm, case.after.rise_mm, unit)),
        Line(_("Saddle room"), length_words(case.saddle_room_mm, unit)),
    ]
    if form.cleaned_data["kind"] in ADJUSTABLE:
        said.append(Line(_("Joint room"), length_words(case.joint_room_mm, unit)))
    return said


def _moved(found: Figures, before: float, after: float, unit: LengthUnit) -> str:
    """``2.45 → 1.99 mm``; one figure where nothing changes."""
    last = length_words(after, unit)
    return f"{figure(before, unit)} → {last}" if found.is_changed else last


def _actions(found: Figures, unit: LengthUnit) -> tuple[list[Row], list[Row]]:
    """The lower and the upper half of the board, to stand side by side."""
    foretold, changed = found.case.foretold, found.is_changed
    rows = zip(found.frets, foretold.action_before_mm, foretold.action_after_mm, strict=True)
    whole = [Row(str(fret), _cells(unit, changed, was, now)) for fret, was, now in rows]
    half = (len(whole) + 1) // 2
    return whole[:half], whole[half:]


def _wanted(found: Figures, unit: LengthUnit) -> str:
    bass, treble = np.asarray(found.case.before.targets.action_12_mm, float)
    return _("%(bass)s bass, %(treble)s treble") % {
        "bass": figure(float(bass), unit),
        "treble": figure(float(treble), unit),
    }


def _plane(found: Figures, unit: LengthUnit) -> list[Row]:
    places = (
        _("nut"),
        _("joint, fret %(fret)s") % {"fret": found.joint_fret},
        _("last fret, %(fret)s") % {"fret": found.frets[-1]},
        _("saddle"),
    )
    rows = zip(places, *found.plane_mm, strict=True)
    return [Row(name, _cells(unit, found.is_changed, was, now)) for name, was, now in rows]


def _drawings(found: Figures, form: SheetForm) -> tuple[SideView, ...]:
    """The side view, with the change dashed over it."""
    case, unit = found.case, form.unit
    shown = sorted({1, 7, 12, found.joint_fret} & set(found.frets))
    before, after = case.before.set_up, case.after.set_up

    def actions(table: np.ndarray) -> dict[tuple[int, str], float]:
        return {
            (fret, side): float(table[fret - 1, place])
            for fret in shown
            for place, side in enumerate(SIDES)
        }

    now = Measured(
        case.before.rise_mm,
        float(before.relief_mm),
        (float(before.saddle_mm[0]), float(before.saddle_mm[1])),
        actions(case.foretold.action_before_mm),
    )
    then = None
    if found.is_changed:
        nut = found.plane_mm[1][0]
        then = After(
            _("the change"),
            case.after.rise_mm,
            (float(after.saddle_mm[0]), float(after.saddle_mm[1])),
            actions(case.foretold.action_after_mm),
            (float(nut[0]), float(nut[1])),
        )
    return side_views(
        found.neck,
        now,
        after=then,
        fret_count=found.frets[-1],
        pivot_depth_mm=case.before.joint.pivot_depth_mm,
        unit=unit,
        name=form.start.name if form.start.instrument else _("a joint not yet built"),
    )
