"""How much to take off, and where to mark it: the saddle's ends, the nut's slots, the rod's way."""

from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from geometry.action import reach, relief_step
from geometry.constants import ROD_ACTION_12_PER_RELIEF
from measurements.advice.counsel import Counsel
from measurements.models import SIDES, Side

#: Of action at fret 12 for each of relief: all the bend at fret 6, and bend spread evenly (trade figures,
#: derived).
ROD_LEAST, ROD_MOST = 1.06, 1.96
#: Changes smaller than this cannot be set by hand. Planning default, no source.
NOTHING_MM = 0.005
UNDER: dict[str, str] = {
    Side.BASS: gettext_noop("under the bass string"),
    Side.TREBLE: gettext_noop("under the treble string"),
}
AT_END: dict[str, str] = {
    Side.BASS: gettext_noop("at the bass end"),
    Side.TREBLE: gettext_noop("at the treble end"),
}


@dataclass(frozen=True)
class Mark:
    """What to take off at one place along the saddle; ``left_mm`` None at an end, where none was read.

    ``cut_mm`` below zero asks for a taller saddle there. ``under_floor_mm`` is how far it would stand below
    its floor, None where it does not.
    """

    place: str
    cut_mm: float
    left_mm: float | None = None
    under_floor_mm: float | None = None

    @property
    def taller_mm(self) -> float | None:
        return -self.cut_mm if self.cut_mm < -NOTHING_MM else None

    @property
    def nothing(self) -> bool:
        return abs(self.cut_mm) <= NOTHING_MM


@dataclass(frozen=True)
class SaddleMarks:
    """What to take off, under the outer strings and at the saddle's two ends where its length is known."""

    strings: tuple[Mark, ...]
    ends: tuple[Mark, ...]
    length_mm: float | None
    spread_mm: float
    floor_mm: float

    @property
    def rows(self) -> tuple[Mark, ...]:
        """Along the saddle, from the bass end to the treble end."""
        if not self.ends:
            return self.strings
        return (self.ends[0], *self.strings, self.ends[1])

    @property
    def under_floor(self) -> list[Mark]:
        return [mark for mark in self.strings if mark.under_floor_mm is not None]

    @property
    def end_beyond(self) -> list[Mark]:
        """Ends that would need wood put on, where the strings' own places lose some: file to the line."""
        if not any(mark.cut_mm > NOTHING_MM for mark in self.strings):
            return []
        return [mark for mark in self.ends if mark.taller_mm is not None]


def saddle_marks(
    now: Counsel,
    before_mm: tuple[float, float],
    after_mm: tuple[float | None, float | None],
    length_mm: float | None,
) -> SaddleMarks | None:
    """Amounts to mark for a saddle to go from one height to another; None where none is known.

    Heights are (bass, treble) under the outer strings; a side whose new height is None is left as it is.
    At the ends, half of ``length_mm`` either side of the centre line, the cut is that of the straight line
    through the two. [mm]
    """
    before = np.asarray(before_mm, float)
    wanted = np.array([was if to is None else to for was, to in zip(before, after_mm, strict=True)])
    cut = before - wanted
    if np.isnan(cut).any():
        return None
    floor = float(np.asarray(now.targets.saddle_floor_mm))
    strings = tuple(
        Mark(
            _(UNDER[side]),
            float(cut[place]),
            float(wanted[place]),
            float(floor - wanted[place]) if wanted[place] < floor - NOTHING_MM else None,
        )
        for place, side in enumerate(SIDES)
    )
    half_spread = float(np.asarray(now.neck.half_spread_saddle_mm))
    ends: tuple[Mark, ...] = ()
    if length_mm is not None:
        beyond = length_mm / 2.0 / half_spread
        middle, lean = cut.mean(), (cut[0] - cut[1]) / 2.0
        ends = tuple(
            Mark(_(AT_END[side]), float(middle + way * lean * beyond))
            for side, way in zip(SIDES, (1.0, -1.0), strict=True)
        )
    return SaddleMarks(strings, ends, length_mm, 2.0 * half_spread, floor)


@dataclass(frozen=True)
class NutAmount:
    """One outer slot: action at fret 1 now and wanted, and how deep the slot must go. [mm]

    ``slot_mm`` below zero: the slot must come up. ``within`` says that it needs nothing.
    """

    side: str
    now_mm: float
    wanted_mm: float
    slot_mm: float
    within: bool

    @property
    def raise_mm(self) -> float | None:
        return -self.slot_mm if self.slot_mm < 0 and not self.within else None


def nut_amounts(
    now: Counsel, after_mm: tuple[float | None, float | None] = (None, None)
) -> tuple[NutAmount, ...]:
    """How deep each outer slot must go for the target, or for the action at fret 1 in ``after_mm``.

    A slot lowered by d lowers the action at fret 1 by d·(1 − x₁/x_s), the saddle held (similar
    triangles).
    """
    action = np.asarray(now.readings.action_1_mm, float)
    wanted = np.array(
        [
            target if given is None else given
            for target, given in zip(
                np.asarray(now.targets.action_1_mm, float), after_mm, strict=True
            )
        ]
    )
    share = 1.0 - float(reach(now.neck, 1))
    return tuple(
        NutAmount(
            side,
            float(action[place]),
            float(wanted[place]),
            float((action[place] - wanted[place]) / share),
            bool(abs(action[place] - wanted[place]) <= now.targets.nut_tolerance_mm),
        )
        for place, side in enumerate(SIDES)
        if np.isfinite(action[place])
    )


@dataclass(frozen=True)
class RodStep:
    """Which way the rod goes, and what the whole change should do. [mm]

    ``way`` is "tighten", "loosen" or "" where the relief needs no work.
    """

    way: str
    relief_mm: float
    low_mm: float
    high_mm: float
    wanted_mm: float
    action_12_change_mm: float
    action_12_least_mm: float
    action_12_most_mm: float
    bridge_rise_change_mm: float


def rod_step(now: Counsel, wanted_mm: float | None = None) -> RodStep | None:
    """The change of relief to the middle of its window, or to ``wanted_mm``; None where none was read."""
    relief = float(np.asarray(now.readings.relief_mm, float))
    if np.isnan(relief):
        return None
    low, high = now.targets.relief_window_mm
    wanted = (low + high) / 2.0 if wanted_mm is None else wanted_mm
    change = wanted - relief
    foretold = relief_step(change)
    needed = not low <= relief <= high
    if wanted_mm is not None:
        needed = abs(change) > NOTHING_MM
    return RodStep(
        way=("tighten" if change < 0 else "loosen") if needed else "",
        relief_mm=relief,
        low_mm=low,
        high_mm=high,
        wanted_mm=wanted,
        action_12_change_mm=float(foretold.action_12_change_mm),
        action_12_least_mm=float(
            foretold.action_12_change_mm * ROD_LEAST / ROD_ACTION_12_PER_RELIEF
        ),
        action_12_most_mm=float(foretold.action_12_change_mm * ROD_MOST / ROD_ACTION_12_PER_RELIEF),
        bridge_rise_change_mm=float(foretold.bridge_rise_change_mm),
    )
