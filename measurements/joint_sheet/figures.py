"""A joint sheet's figures: what the form holds, worked out by geometry."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from django.utils.translation import gettext as _

from geometry._checks import FloatArray
from geometry.action import Neck, reach
from geometry.joint import SideTrim, bolt_travel, heel_wedge, side_trim
from geometry.readings import TURNED, Joint, Readings
from geometry.strings import pitch_frequency, string_tension
from geometry.tuning import semitones_of
from geometry.units import MM_PER_INCH
from geometry.what_if import (
    Cover,
    OneTurn,
    Pull,
    WhatIf,
    board_end_gap,
    cover,
    one_turn,
    pivot_share,
    pull_on_joint,
    string_over_plane,
    what_if,
)
from instruments.string_sets import plain_steel_kg_m, threads
from measurements.joint_sheet.forms import SIX, SheetForm, string_names
from measurements.joint_sheet.set_words import plain_words, string_words
from measurements.models import SIDES

NEWTON_PER_LBF = 4.4482216152605  # the pound of 1959 under standard gravity, 9.80665 m/s²
#: Advance of one pivot screw for which the side trim is told where none is typed. [mm]
TRIM_STEP_MM = 0.1


@dataclass(frozen=True)
class Strung:
    """One string of the set and what it pulls. ``share_pct`` is its part of the load on the joint."""

    number: int
    words: str
    note: str
    grams_m: float
    tension_n: float
    tension_lbf: float
    share_pct: float
    source: str


@dataclass(frozen=True, eq=False)
class Figures:
    """Everything on a joint sheet, in mm, degrees and newtons.

    ``frets`` runs over the board; ``plane_mm`` holds the strings' height over the fret plane at nut,
    joint, end of the board and saddle, before and after, (4, 2) each.
    """

    case: WhatIf
    neck: Neck
    frets: tuple[int, ...]
    joint_fret: int
    tilt_now_deg: float
    plane_mm: tuple[FloatArray, FloatArray]
    travel_mm: float
    turns: float
    wedge_mm: float
    gap_mm: float
    gap_full_mm: float | None
    trim_mm: float
    trim: SideTrim
    pitch_mm: float
    turn: OneTurn
    every_turn: tuple[tuple[str, float, OneTurn], ...]
    strings: tuple[Strung, ...]
    pull: Pull
    pull_before: Pull
    cover: Cover
    rise_then_mm: FloatArray

    @property
    def tilt_after_deg(self) -> float:
        return self.tilt_now_deg + self.case.tilt_deg

    @property
    def is_changed(self) -> bool:
        before, after = self.case.before.set_up, self.case.after.set_up
        return bool(
            self.case.tilt_deg
            or self.case.nut_change_mm.any()
            or np.any(before.saddle_mm != after.saddle_mm)
            or float(before.relief_mm) != float(after.relief_mm)
        )


def work_out(form: SheetForm) -> Figures:
    """All figures of a valid form.

    Raises
    ------
    ValueError
        Where no neck or angle of that kind can be, naming what is wrong.
    """
    typed, start = form.cleaned_data, form.start
    frets = tuple(range(1, int(typed["fret_count"]) + 1))
    joint = _joint(form)
    neck = _neck(typed)
    bench = start.bench(neck, _readings(typed), joint, frets)
    case = what_if(
        bench,
        tilt_deg=typed["tilt_deg"],
        saddle_mm=_sides(typed, "saddle_{}_to_mm"),
        relief_mm=typed["relief_to_mm"],
        action_1_mm=_sides(typed, "action_1_{}_to_mm"),
    )
    now = joint.tilt_now_deg
    arm = float(typed["bolt_arm_mm"])
    gained_arm = arm / joint.rise_gain
    travel = float(bolt_travel(case.tilt_deg, gained_arm, now))
    strings = _strings(form)
    tension = np.array([string.tension_n for string in strings])
    pull = pull_on_joint(case.after, tension, arm)
    after = now + case.tilt_deg
    rise_then = case.after.rise_mm + np.array(start.lift.mm)
    pitch = form.pitch_mm()
    share = [0.0, pivot_share(bench), float(reach(bench.neck, frets[-1])[0]), 1.0]
    advance = TRIM_STEP_MM if typed["trim_mm"] is None else typed["trim_mm"]
    return Figures(
        case=case,
        neck=neck,
        frets=frets,
        joint_fret=int(typed["joint_fret"]),
        tilt_now_deg=now,
        plane_mm=(string_over_plane(bench, share), string_over_plane(case.after, share)),
        travel_mm=travel,
        turns=travel / pitch if typed["turns"] is None else typed["turns"],
        wedge_mm=float(heel_wedge(case.tilt_deg, joint.heel_depth_mm)),
        gap_mm=float(board_end_gap(bench, case.tilt_deg, frets[-1])),
        gap_full_mm=_gap_at_full(case, joint, frets[-1]) if joint.kind in TURNED else None,
        trim_mm=advance,
        trim=_trim(case, advance, typed),
        pitch_mm=pitch,
        turn=one_turn(case.after, pitch, arm, after),
        every_turn=tuple(
            (one.size, one.pitch_mm, one_turn(case.after, one.pitch_mm, arm, after))
            for one in threads().values()
        ),
        strings=_with_shares(strings, pull),
        pull=pull,
        pull_before=pull_on_joint(bench, tension, arm),
        cover=cover(case, rise_then),
        rise_then_mm=rise_then,
    )


def _gap_at_full(case: WhatIf, joint: Joint, last_fret: int) -> float:
    """Rise of the board's end from the least tilt to the most."""
    whole = joint.tilt_max_deg - joint.tilt_min_deg
    return float(board_end_gap(case.before, whole, last_fret))


def _sides(typed: dict[str, Any], name: str) -> tuple[float, float]:
    bass, treble = (
        float("nan") if typed[name.format(side)] is None else typed[name.format(side)]
        for side in SIDES
    )
    return bass, treble


def _neck(typed: dict[str, Any]) -> Neck:
    return Neck(
        scale_length_mm=typed["scale_length_mm"],
        compensation_mm=typed["compensation_mm"],
        joint_fret=typed["joint_fret"],
        fretboard_radius_mm=typed["fretboard_radius_mm"] or None,
        half_spread_nut_mm=typed["half_spread_nut_mm"],
        half_spread_saddle_mm=typed["half_spread_saddle_mm"],
    )


def _readings(typed: dict[str, Any]) -> Readings:
    return Readings(
        action_1_mm=_sides(typed, "action_1_{}_mm"),
        action_12_mm=_sides(typed, "action_12_{}_mm"),
        saddle_mm=_sides(typed, "saddle_{}_mm"),
        bridge_rise_mm=typed["bridge_rise_mm"],
        relief_mm=typed["relief_mm"],
    )


def _joint(form: SheetForm) -> Joint:
    typed, start = form.cleaned_data, form.start
    return Joint(
        kind=typed["kind"],
        pivot_depth_mm=typed["pivot_depth_mm"],
        heel_depth_mm=typed["heel_depth_mm"],
        bolt_arm_mm=typed["bolt_arm_mm"],
        thread_pitch_mm=form.pitch_mm(),
        tilt_now_deg=typed["tilt_now_deg"],
        tilt_min_deg=typed["tilt_min_deg"],
        tilt_max_deg=typed["tilt_max_deg"],
        shims_mm=start.shims_mm,
        shim_now_mm=start.shim_now_mm,
        one_way=start.one_way,
        rise_gain=form.rise_gain(typed["kind"]),
    )


def _trim(case: WhatIf, advance_mm: float, typed: dict[str, Any]) -> SideTrim:
    neck = case.before.neck
    pivot_mm = float(np.asarray(case.before.pivot["pivot_to_saddle_mm"]))
    whole = float(neck.saddle_line_mm[0])
    return side_trim(
        advance_mm,
        screw_spacing_mm=typed["screw_spacing_mm"],
        pivot_to_saddle_mm=pivot_mm,
        nut_to_saddle_mm=whole,
        fret_mm=whole - pivot_mm,
    )


def _strings(form: SheetForm) -> list[Strung]:
    """The set's strings, each with what was typed over it, at its pitch. [N]"""
    found = []
    for number, usual in zip(SIX, form.chosen_set().strings, strict=True):
        gauge, mass, note = (form.cleaned_data[name] for name in string_names(number))
        words, kg_m, source = string_words(usual), usual.kg_m, usual.source
        if gauge is not None:
            words, source = plain_words(gauge / MM_PER_INCH), "music-wire"
            kg_m = plain_steel_kg_m(gauge)
        if mass is not None:
            words, kg_m, source = _("by its weight"), mass, "typed"
        hz = pitch_frequency(semitones_of(note or usual.note))
        tension = float(string_tension(kg_m, form.cleaned_data["scale_length_mm"], hz))
        found.append(
            Strung(
                number=number,
                words=words,
                note=note or usual.note,
                grams_m=kg_m * 1000,
                tension_n=tension,
                tension_lbf=tension / NEWTON_PER_LBF,
                share_pct=0.0,
                source=source,
            )
        )
    return found


def _with_shares(strings: list[Strung], pull: Pull) -> tuple[Strung, ...]:
    whole = float(pull.moment_n_m.sum())
    return tuple(
        Strung(**{**vars(one), "share_pct": 100 * float(part) / whole if whole else 0.0})
        for one, part in zip(strings, pull.moment_n_m, strict=True)
    )
