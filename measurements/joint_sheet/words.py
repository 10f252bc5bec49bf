"""A joint sheet in words and rows, ready to print."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from geometry.units import LengthUnit, format_turns
from instruments.models import JointKind
from measurements.drawings.parts import figure
from measurements.drawings.side_view import After, Measured, SideView, side_views
from measurements.joint_sheet.figures import NEWTON_PER_LBF, Figures
from measurements.joint_sheet.forms import SheetForm
from measurements.joint_sheet.sources import Given, caution_lines, given_figures, source_lines
from measurements.models import SIDES
from measurements.words import angle_words, change_words, turn_words
from shop.figures import length_words

CHANCES = ("low, 10 %", "likely, 50 %", "high, 90 %")


class Row(NamedTuple):
    name: str
    cells: list[str]


@dataclass(frozen=True)
class Words:
    """What the sheet says, in one unit."""

    changes: list[str]
    warnings: list[str]
    glance: list[tuple[str, str]]
    wanted: str
    actions: tuple[list[Row], list[Row]]
    plane: list[Row]
    joint: list[tuple[str, str]]
    turn: list[tuple[str, str]]
    every_turn: list[Row]
    total: list[str]
    load: list[tuple[str, str]]
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
        changes=_changes(found, form),
        warnings=_warnings(found, form),
        glance=_glance(found, form),
        wanted=_wanted(found, unit),
        actions=_actions(found, unit),
        plane=_plane(found, unit),
        joint=_joint(found, form),
        turn=_turn(found, form),
        every_turn=_every_turn(found, unit),
        total=_total(found),
        load=_load(found, form),
        chances=CHANCES,
        ahead=_ahead(found, form),
        verdict=_verdict(found, form),
        cautions=caution_lines(form.cleaned_data["kind"]),
        given=given_figures(form),
        sources=source_lines(found, form),
        drawings=_drawings(found, form),
    )


def _forces(newton: float) -> str:
    return f"{newton:.0f} N ({newton / NEWTON_PER_LBF:.0f} lbf)"


def _lowering(form: SheetForm) -> str:
    """The way the hand turns to lower the action, where a joint is on record."""
    found = form.start.instrument
    return "" if found is None else str(found.joint.lowering_turn)


def _turns_words(turns: float, form: SheetForm) -> str:
    lowering = _lowering(form)
    if lowering:
        return turn_words(turns, lowering)
    sense = "to lower the action" if turns >= 0 else "to raise the action"
    size = abs(turns)
    exact = abs(size * 16 - round(size * 16)) < 1e-6
    return f"{format_turns(size) if exact else f'{size:.2f} turns'} {sense}"


def _changes(found: Figures, form: SheetForm) -> list[str]:
    unit, case = form.unit, found.case
    before, after = case.before.set_up, case.after.set_up
    parts = []
    if case.tilt_deg:
        words = f"Tilt {angle_words(found.tilt_now_deg)} → {angle_words(found.tilt_after_deg)}"
        if form.cleaned_data["kind"] == JointKind.TILTING:
            words += f", {_turns_words(found.turns, form)}"
        parts.append(words)
    for side, was, now in zip(SIDES, before.saddle_mm, after.saddle_mm, strict=True):
        if was != now:
            parts.append(f"Saddle, {side}: {change_words(float(was), float(now), unit)}")
    if float(before.relief_mm) != float(after.relief_mm):
        changed = change_words(float(before.relief_mm), float(after.relief_mm), unit)
        parts.append(f"Relief: {changed}")
    for side, moved in zip(SIDES, case.nut_change_mm, strict=True):
        if moved:
            way = "higher" if moved > 0 else "lower"
            amount = length_words(abs(float(moved)), unit)
            parts.append(f"Nut slot, {side}: string {amount} {way}")
    return parts


def _warnings(found: Figures, form: SheetForm) -> list[str]:
    typed, unit, case = form.cleaned_data, form.unit, found.case
    said = []
    least, most = typed["tilt_min_deg"], typed["tilt_max_deg"]
    after = found.tilt_after_deg
    if typed["kind"] == JointKind.TILTING and not least - 1e-9 <= after <= most + 1e-9:
        said.append(
            f"Tilt {angle_words(after)} is beyond this joint's travel, {angle_words(least)} to "
            f"{angle_words(most)}."
        )
    if form.start.one_way and case.tilt_deg < 0:
        said.append("On record this joint may only be tilted back: the what-if tilts it forward.")
    floor = form.start.profile.saddle_floor_mm
    for side, height in zip(SIDES, case.after.set_up.saddle_mm, strict=True):
        if height < floor - 0.005:
            said.append(
                f"Saddle, {side}, {length_words(float(height), unit)}: below the shop's floor of "
                f"{length_words(floor, unit)}."
            )
    low = [
        f"{fret} {side}"
        for fret, row in zip(found.frets, case.foretold.action_after_mm, strict=True)
        for side, action in zip(SIDES, row, strict=True)
        if action < 0
    ]
    if low:
        said.append(f"The string would lie on the frets: fret {', '.join(low[:6])}.")
    return said


def _cells(
    unit: LengthUnit, changed: bool, before: Iterable[float], after: Iterable[float]
) -> list[str]:
    """Bass now and after, treble now and after; without the after where nothing changes."""
    pairs = zip(before, after, strict=True)
    return [figure(float(mm), unit) for pair in pairs for mm in pair[: 1 + changed]]


def _glance(found: Figures, form: SheetForm) -> list[tuple[str, str]]:
    """What most people look for first."""
    unit, case = form.unit, found.case
    before, after = case.before.set_up, case.after.set_up
    rows = [
        (f"Action at 12, {side}", float(was), float(now))
        for side, was, now in zip(SIDES, before.action_12_mm, after.action_12_mm, strict=True)
    ]
    rows.append(("Bridge rise", case.before.rise_mm, case.after.rise_mm))
    said = [(name, _moved(found, was, now, unit)) for name, was, now in rows]
    said.append(("Saddle room", length_words(case.saddle_room_mm, unit)))
    if form.cleaned_data["kind"] in (JointKind.TILTING, JointKind.SHIMMED):
        said.append(("Joint room", length_words(case.joint_room_mm, unit)))
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
    wanted = np.asarray(found.case.before.targets.action_12_mm, float)
    return ", ".join(
        f"{figure(float(mm), unit)} {side}" for side, mm in zip(SIDES, wanted, strict=True)
    )


def _plane(found: Figures, unit: LengthUnit) -> list[Row]:
    places = ("nut", f"joint, fret {found.joint_fret}", f"last fret, {found.frets[-1]}", "saddle")
    rows = zip(places, *found.plane_mm, strict=True)
    return [Row(name, _cells(unit, found.is_changed, was, now)) for name, was, now in rows]


def _joint(found: Figures, form: SheetForm) -> list[tuple[str, str]]:
    unit, kind, case = form.unit, form.cleaned_data["kind"], found.case
    rows = []
    angle = f"{angle_words(found.tilt_now_deg)} → {angle_words(found.tilt_after_deg)}"
    rows.append(("Tilt", angle if case.tilt_deg else angle_words(found.tilt_now_deg)))
    if kind == JointKind.TILTING:
        rows.append(
            ("Bolt travel", f"{length_words(found.travel_mm, unit)}, {found.turns:.2f} turns")
        )
    elif case.tilt_deg:
        way = "taken off" if found.wedge_mm > 0 else "put in"
        amount = length_words(abs(found.wedge_mm), unit)
        words = "shim thicker by" if kind == JointKind.SHIMMED else f"{way} at the heel's foot:"
        rows.append(("Heel", f"{words} {amount}, tapering to nothing at the pivot"))
    gap = length_words(found.gap_mm, unit)
    rows.append((f"Gap under the board at fret {found.frets[-1]}", f"{gap} by this change"))
    if found.gap_full_mm is not None:
        rows.append(("The same, least to most tilt", length_words(found.gap_full_mm, unit)))
    at_bridge, over_joint = (length_words(float(mm), unit) for mm in found.trim)
    rows.append(
        (
            f"Side trim, one screw {length_words(found.trim_mm, unit)} ahead",
            f"{at_bridge} at the bridge, string moves {over_joint} over fret {found.joint_fret}",
        )
    )
    if kind in (JointKind.TILTING, JointKind.SHIMMED):
        left = f"{angle_words(case.tilt_left_deg)}, {length_words(case.joint_room_mm, unit)}"
        rows.append(("Travel left", f"{left} at the saddle"))
    return rows


def _turn(found: Figures, form: SheetForm) -> list[tuple[str, str]]:
    if form.cleaned_data["kind"] != JointKind.TILTING:
        return []
    unit, turn = form.unit, found.turn
    rows = [
        ("Pitch", length_words(found.pitch_mm, unit)),
        ("Tilt", f"{float(turn.tilt_deg):.3f}°"),
        ("At the saddle", length_words(float(turn.rise_mm), unit)),
        ("Action at 12", length_words(float(turn.action_12_mm), unit)),
        ("Action at 12, by 1/8 turn", length_words(float(turn.action_12_mm) / 8, unit)),
    ]
    gain = found.case.before.joint.rise_gain
    if abs(gain - 1.0) > 5e-4:
        rows.append(("This joint's log", f"a turn does {gain:.2f} of what the drawing says"))
    return rows


def _every_turn(found: Figures, unit: LengthUnit) -> list[Row]:
    """Every thread on record: pitch, degrees a turn, and what that lowers at saddle and fret 12."""
    return [
        Row(
            size,
            [
                figure(pitch, unit),
                f"{float(turn.tilt_deg):.3f}",
                figure(float(turn.rise_mm), unit),
                figure(float(turn.action_12_mm), unit),
            ],
        )
        for size, pitch, turn in found.every_turn
    ]


def _total(found: Figures) -> list[str]:
    newton = sum(string.tension_n for string in found.strings)
    return [f"{newton:.1f}", f"{newton / NEWTON_PER_LBF:.1f}", "100 %"]


def _load(found: Figures, form: SheetForm) -> list[tuple[str, str]]:
    before, after = found.pull_before, found.pull
    moment = f"{after.moment_n_m.sum():.2f} N·m"
    if found.is_changed:
        moment = f"{before.moment_n_m.sum():.2f} → {moment}"
    rows = [("Moment about the pivot", moment)]
    if form.cleaned_data["kind"] == JointKind.TILTING:
        load = _forces(float(after.bolt_n.sum()))
        if found.is_changed:
            load = f"{_forces(float(before.bolt_n.sum()))} → {load}"
        rows.append(("Load on the bolt, from the strings alone", load))
    return rows


def _ahead(found: Figures, form: SheetForm) -> list[Row]:
    unit, kind, need = form.unit, form.cleaned_data["kind"], found.cover
    least = form.cleaned_data["tilt_min_deg"]

    def verdicts(covered: np.ndarray) -> list[str]:
        return ["yes" if one else "no" for one in covered]

    rows = [
        Row(f"Lift from now, {unit}", [figure(float(mm), unit) for mm in need.lift_mm]),
        Row(f"Bridge rise then, {unit}", [figure(float(mm), unit) for mm in found.rise_then_mm]),
        Row("Tilt that takes it up", [angle_words(float(deg)) for deg in need.tilt_deg]),
    ]
    if kind == JointKind.TILTING:
        whole = [found.tilt_after_deg - least + float(deg) for deg in need.tilt_deg]
        rows.append(Row("Tilt range that needs", [angle_words(deg) for deg in whole]))
    if kind in (JointKind.TILTING, JointKind.SHIMMED):
        rows.append(Row("Travel left covers it", verdicts(need.by_joint)))
        rows.append(Row("Travel and saddle cover it", verdicts(need.with_saddle)))
    else:
        rows.append(Row("Saddle covers it", verdicts(need.with_saddle)))
    return rows


def _verdict(found: Figures, form: SheetForm) -> list[str]:
    unit, kind, need, case = form.unit, form.cleaned_data["kind"], found.cover, found.case
    low, likely, high = (length_words(float(mm), unit) for mm in need.lift_mm)
    said = [
        f"Lift in 30 years: likely {likely}, in four cases of five between {low} and {high} "
        f"({form.start.lift.source})."
    ]
    rooms = length_words(case.saddle_room_mm, unit)
    means = f"The saddle's room ({rooms})"
    if kind in (JointKind.TILTING, JointKind.SHIMMED):
        joint = length_words(case.joint_room_mm, unit)
        means = f"The room of joint and saddle together ({joint} + {rooms})"
    if need.with_saddle[2]:
        said.append(f"{means} covers even the high figure.")
    elif need.with_saddle[1]:
        said.append(f"{means} covers the likely lift, not the high one.")
    else:
        said.append(f"{means} does not cover the likely lift: a reset comes before.")
    if kind == JointKind.TILTING:
        most, least = form.cleaned_data["tilt_max_deg"], form.cleaned_data["tilt_min_deg"]
        needs = [
            angle_words(max(found.tilt_after_deg - least + float(need.tilt_deg[place]), 0.0))
            for place in (1, 2)
        ]
        said.append(
            f"By the joint alone the likely lift needs a tilt range of {needs[0]}, the high one "
            f"{needs[1]}; this joint has {angle_words(most - least)}."
        )
    return said


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
            "the change",
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
        name=form.start.name if form.start.instrument else "a joint not yet built",
    )
