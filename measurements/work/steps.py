"""What a piece of work was foretold to do, beside what was measured after it; the same for every kind.

The figures before and after are those of ``facts.gather`` as they stood just before a moment, carried
through the work as the form foretold it, with the joint's gain as its log had taught it by then. What is
read next is held against them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from geometry.action import reach
from geometry.joint import rise_after_tilt, tilt_after_turns
from geometry.readings import Targets
from geometry.repeats import mean_u
from instruments.defaults import joint_dimension
from measurements.advice.counsel import neck_of
from measurements.check_ins.labels import fret_words
from measurements.facts.arrays import Facts, gather
from measurements.facts.certainty import gauge_of, picked, read_u
from measurements.facts.provisional import A_MOMENT
from measurements.facts.undo import RELIEF_DOUBT, RESET_DOUBT
from measurements.forecast.outlooks import targets_of
from measurements.models import SIDES, CheckIn, Work, WorkKind
from shop.models import ShopProfile

#: A difference within this many standard uncertainties is no difference: common practice.
COVERAGE = 2.0


@dataclass(frozen=True)
class Line:
    """One place: before the work, foretold and measured after it, and what was wanted. [mm]

    ``u_mm`` is the standard uncertainty of the difference; NaN marks what is not known.
    """

    place: str
    before_mm: float
    predicted_mm: float
    measured_mm: float
    u_mm: float
    wanted_mm: float = float("nan")
    tolerance_mm: float = float("nan")

    @property
    def difference_mm(self) -> float:
        """Measured less foretold."""
        return self.measured_mm - self.predicted_mm

    @property
    def agrees(self) -> bool | None:
        """Whether the difference lies within what gauges and geometry allow; None where not known."""
        if np.isnan(self.difference_mm):
            return None
        return abs(self.difference_mm) <= COVERAGE * self.u_mm

    @property
    def verdict(self) -> str:
        """``as foretold``, or which way it went."""
        if self.agrees is None:
            return "–"
        if self.agrees:
            return _("as foretold")
        if self.difference_mm > 0:
            return _("higher than foretold")
        return _("lower than foretold")

    @property
    def on_target(self) -> bool | None:
        """Whether what was measured meets what is wanted; None where nothing is."""
        if np.isnan(self.wanted_mm) or np.isnan(self.measured_mm):
            return None
        return abs(self.measured_mm - self.wanted_mm) <= self.tolerance_mm + 1e-9


@dataclass(frozen=True)
class PerTurn:
    """What the adjuster did to the bridge rise in one turn, by the drawing and by the gauge. [mm]"""

    turns: float
    drawn_mm: float
    measured_mm: float
    u_measured_mm: float
    learnt_mm: float


@dataclass(frozen=True)
class Step:
    """Work done between two readings, and what came of it."""

    works: tuple[Work, ...]
    check_in: CheckIn
    lines: tuple[Line, ...]
    per_turn: PerTurn | None

    @property
    def together(self) -> bool:
        """Whether several pieces of work were measured as one."""
        return len(self.works) > 1

    @property
    def surprises(self) -> list[Line]:
        return [line for line in self.lines if line.agrees is False]


def step_of(work: Work, profile: ShopProfile | None = None) -> Step | None:
    """What a piece of work came to; None while nothing has been read since.

    Work done before the same readings is counted together with it: only their sum was measured.
    """
    after = _next_reading(work)
    if after is None:
        return None
    works = _works_in_gap(work, after)
    profile = profile or ShopProfile.current()
    before, foretold = _facts_before(work, works[0].done_at, profile), _facts_at(after, profile)
    lines = predicted_against_measured(
        before, foretold, after, works, targets_of(foretold, profile, row=0), profile
    )
    if not lines:
        return None
    return Step(tuple(works), after, lines, _per_turn(before, foretold, after, works, profile))


def _next_reading(work: Work) -> CheckIn | None:
    """The first check-in after a piece of work that read anything which work can change."""
    check_ins = (
        CheckIn.objects.standing()
        .filter(instrument=work.instrument_id, at_pitch=True, measured_at__gt=work.done_at)
        .order_by("measured_at", "pk")
        .prefetch_related("action_readings")
    )
    return next((c for c in check_ins[:5] if any(v is not None for v in measured_in(c))), None)


def _works_in_gap(work: Work, after: CheckIn) -> list[Work]:
    """The work between the reading before and the one after, this one among it."""
    earlier = (
        CheckIn.objects.standing()
        .filter(instrument=work.instrument_id, at_pitch=True, measured_at__lte=work.done_at)
        .order_by("-measured_at", "-pk")
        .first()
    )
    works = Work.objects.standing().filter(
        instrument=work.instrument_id, done_at__lte=after.measured_at
    )
    if earlier is not None:
        works = works.filter(done_at__gte=earlier.measured_at)
    found = list(works.exclude(kind=WorkKind.OTHER).order_by("done_at", "pk"))
    return found or [work]


def _facts_before(work: Work, moment: datetime, profile: ShopProfile) -> Facts:
    day = timezone.localtime(moment).date()
    return gather([work.instrument_id], day, profile, before=moment)


def _facts_at(check_in: CheckIn, profile: ShopProfile) -> Facts:
    """What should be read at a check-in, by all that was known before it."""
    day = timezone.localtime(check_in.measured_at).date()
    return gather([check_in.instrument_id], day, profile, before=check_in.measured_at)


def measured_in(check_in: CheckIn) -> list[float | None]:
    """The figures of a check-in in the order of ``PLACES``."""
    actions = {(row.fret, row.side): row.action_mm for row in check_in.action_readings.all()}
    return [
        actions.get(key) if isinstance(key, tuple) else getattr(check_in, key)
        for key in PLACES.values()
    ]


Place = tuple[str, int | None]  # the name of a figure among facts, and its side's place
Key = tuple[int, str] | str  # where a check-in keeps it
#: Every place that work moves.
PLACES: dict[Place, Key] = {
    **{
        (f"action_{fret}_mm", place): (fret, side)
        for fret in (12, 1)
        for place, side in enumerate(SIDES)
    },
    ("bridge_rise_mm", None): "bridge_rise_mm",
    **{("saddle_mm", place): f"saddle_{side}_mm" for place, side in enumerate(SIDES)},
    ("relief_mm", None): "relief_mm",
}
NAMES = {
    "bridge_rise_mm": gettext_noop("bridge rise"),
    "saddle_bass_mm": gettext_noop("saddle, bass"),
    "saddle_treble_mm": gettext_noop("saddle, treble"),
    "relief_mm": gettext_noop("relief"),
}


def place_words(key: Key) -> str:
    """``fret 12, bass`` or ``bridge rise``."""
    return _(NAMES[key]) if isinstance(key, str) else fret_words(*key)


def predicted_against_measured(
    before: Facts,
    foretold: Facts,
    after: CheckIn,
    works: Sequence[Work],
    targets: Targets,
    profile: ShopProfile,
) -> tuple[Line, ...]:
    """Each place that was read: before, foretold and measured, with the uncertainty of the difference.

    The uncertainty is that of both readings, by how often each was taken, and of what the work was
    taken to do: a share of the change for a joint, a rod and a reset, a gauge's where a saddle or a
    nut was measured (first order, JCGM 100:2008, 5.1).
    """
    sure = vars(picked(foretold.gauges, 0))
    doubt = _doubt(before, works)
    set_by_hand = _set_by_hand(before, works, profile)
    lines = []
    for (name, place), key, measured in _read(after):
        was, should = (_figure(facts, name, place) for facts in (before, foretold))
        change = 0.0 if np.isnan(should - was) else should - was
        u = np.sqrt(
            float(sure[name] if place is None else sure[name][place]) ** 2
            + _u_of(after, key, profile) ** 2
            + (doubt * change) ** 2
            + set_by_hand.get(name, 0.0) ** 2
        )
        wanted, tolerance = _wanted(targets, name, place)
        lines.append(Line(place_words(key), was, should, measured, float(u), wanted, tolerance))
    return tuple(lines)


def _read(check_in: CheckIn) -> Iterator[tuple[Place, Key, float]]:
    for (place, key), measured in zip(PLACES.items(), measured_in(check_in), strict=True):
        if measured is not None:
            yield place, key, measured


def _figure(facts: Facts, name: str, place: int | None) -> float:
    row = getattr(facts, name)[0]
    return float(row if place is None else row[place])


def _u_of(check_in: CheckIn, key: Key, profile: ShopProfile) -> float:
    """How sure a figure of a check-in is, ``key`` being where the check-in keeps it. [mm]"""
    if key == "bridge_rise_mm":
        count, spread = check_in.bridge_rise_count, check_in.bridge_rise_spread_mm
        return float(mean_u(gauge_of(profile, "bridge_rise"), count, spread))
    name = key if isinstance(key, str) else f"action_{key[0]}_{key[1]}_mm"
    return read_u(name, check_in.repeats_mm, profile)


def _doubt(before: Facts, works: Sequence[Work]) -> float:
    """How far work may be off what geometry says, as a share of the change; the least sure of them."""
    shares = {
        WorkKind.JOINT: float(before.u_joint_gain[0]),
        WorkKind.RELIEF: RELIEF_DOUBT,
        WorkKind.RESET: RESET_DOUBT,
    }
    return max((shares.get(WorkKind(work.kind), 0.0) for work in works), default=0.0)


def _set_by_hand(before: Facts, works: Sequence[Work], profile: ShopProfile) -> dict[str, float]:
    """What the gauge's uncertainty of a height that was set adds to the actions. [mm]"""
    neck = neck_of(before)
    kinds = {work.kind for work in works}
    added = {}
    for name, fret in (("action_1_mm", 1), ("action_12_mm", 12)):
        along = float(reach(neck, fret))
        saddle = along * profile.saddle_u_mm * bool(kinds & {WorkKind.SADDLE, WorkKind.RESET})
        nut = (1.0 - along) * profile.action_1_u_mm * (WorkKind.NUT in kinds)
        added[name] = float(np.hypot(saddle, nut))
    return added


def _wanted(targets: Targets, name: str, place: int | None) -> tuple[float, float]:
    """Target and tolerance of a figure; NaN where it has none. Relief: the middle of its window."""
    if name == "relief_mm":
        low, high = targets.relief_window_mm
        return (low + high) / 2.0, (high - low) / 2.0
    tolerances = {
        "action_12_mm": targets.action_tolerance_mm,
        "action_1_mm": targets.nut_tolerance_mm,
    }
    if name not in tolerances:
        return float("nan"), float("nan")
    return float(np.asarray(getattr(targets, name), float)[place]), tolerances[name]


def _per_turn(
    before: Facts, foretold: Facts, after: CheckIn, works: Sequence[Work], profile: ShopProfile
) -> PerTurn | None:
    """What one turn really did; None unless turns alone lie between two readings of the bridge rise."""
    turns = sum(work.turns or 0.0 for work in works)
    was = _figure(before, "bridge_rise_mm", None)
    only_turns = all(work.kind == WorkKind.JOINT and work.turns is not None for work in works)
    if not only_turns or turns == 0.0 or after.bridge_rise_mm is None or np.isnan(was):
        return None
    joint = works[0].instrument.joint
    pitch = joint_dimension("thread_pitch_mm", joint.thread_pitch_mm)
    arm = joint_dimension("bolt_arm_mm", joint.bolt_arm_mm)
    start = works[0].tilt_from_deg or 0.0
    tilt = float(tilt_after_turns(turns, pitch, arm, start)) - start
    drawn = float(
        rise_after_tilt(
            was,
            tilt,
            pivot_to_saddle_mm=float(before.pivot_to_saddle_mm[0]),
            pivot_depth_mm=float(before.pivot_depth_mm[0]),
        )
        - was
    )
    drawn_each = drawn / turns
    u_was = float(np.asarray(before.gauges.bridge_rise_mm)[0])
    return PerTurn(
        turns=turns,
        drawn_mm=drawn_each,
        measured_mm=(after.bridge_rise_mm - was) / turns,
        u_measured_mm=float(np.hypot(u_was, _u_of(after, "bridge_rise_mm", profile))) / abs(turns),
        learnt_mm=drawn_each * _gain_after(after, profile),
    )


def _gain_after(check_in: CheckIn, profile: ShopProfile) -> float:
    """The joint's own gain by all that its log says, this check-in among it."""
    day = timezone.localtime(check_in.measured_at).date()
    just_after = check_in.measured_at + 2 * A_MOMENT
    facts = gather([check_in.instrument_id], day, profile, before=just_after)
    return float(facts.joint_gain[0])
