"""How sure each figure that stands is: by its gauge, and by how often its place was read.

The one answer for all that holds readings against each other: while they are typed, on the page, in the
stored outlook and after a step of work.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np

from geometry.balance import GaugeUncertainty
from geometry.repeats import mean_and_spread, mean_u
from measurements.models import SIDES
from shop.models import ShopProfile

#: Figures that have sides, and those that have none.
SIDED = ("action_1", "action_12", "saddle")
UNSIDED = ("relief", "bridge_rise")
#: Where a place's figures are kept, by the name of its field: which figure, and on which side's place.
#: The bridge rise is not among them: how often it was read has columns of its own.
PLACES = {
    **{f"{name}_{side}_mm": (name, place) for name in SIDED for place, side in enumerate(SIDES)},
    "relief_mm": ("relief", 0),
}
_NAMES = tuple(PLACES)


@dataclass(frozen=True)
class Repeats:
    """Places read more than once: whose and when, which of ``PLACES``, how often, their s.d. [mm]"""

    who: np.ndarray
    day: np.ndarray
    place: np.ndarray
    count: np.ndarray
    spread_mm: np.ndarray

    @classmethod
    def of(cls, found: Iterable[tuple[int, float, Mapping[str, Sequence[float]]]]) -> Self:
        """From each check-in's instrument, day and ``repeats_mm``."""
        rows = [
            (who, day, _NAMES.index(name), len(values), mean_and_spread(values)[1])
            for who, day, repeats_mm in found
            for name, values in repeats_mm.items()
            if name in PLACES and len(values) > 1
        ]
        who, day, place, count, spread = np.array(rows, dtype=float).reshape(-1, 5).T
        return cls(who.astype(np.int64), day, place.astype(np.int64), count, spread)

    def where(self, keep: np.ndarray) -> "Repeats":
        return Repeats(*(column[keep] for column in vars(self).values()))

    def and_also(self, other: "Repeats") -> "Repeats":
        pairs = zip(vars(self).values(), vars(other).values(), strict=True)
        return Repeats(*(np.concatenate(pair) for pair in pairs))


def gauge_of(profile: ShopProfile, name: str) -> float:
    """Standard deviation of one reading with the shop's gauge for ``action_1``, ``relief`` … [mm]"""
    return float(getattr(profile, f"{name}_u_mm"))


def gauges_of(profile: ShopProfile) -> GaugeUncertainty:
    """The shop's gauges, as standard deviations of one reading. [mm]"""
    return GaugeUncertainty(**{f"{n}_mm": gauge_of(profile, n) for n in (*SIDED, *UNSIDED)})


def read_u(name: str, repeats_mm: Mapping[str, Sequence[float]], profile: ShopProfile) -> float:
    """How sure one check-in's figure is, ``name`` being its field's. [mm]"""
    readings = repeats_mm.get(name, ())
    figure = PLACES.get(name, (name.removesuffix("_mm"), 0))[0]
    spread = mean_and_spread(readings)[1] if readings else None
    return float(mean_u(gauge_of(profile, figure), max(len(readings), 1), spread))


def sureness(
    n: int,
    read_on: Mapping[str, np.ndarray],
    repeats: Repeats,
    rises: Mapping[str, Any],
    profile: ShopProfile,
) -> GaugeUncertainty:
    """How sure the newest figures of ``n`` instruments are: (n, 2) for those with sides, else (n,). [mm]

    ``read_on`` (n, 2) is the day that each figure is from, bass and treble; only what was read then
    counts, so that a figure that work has set since is as sure as one reading. ``rises`` are the
    readings of the bridge rise: ``who``, ``day``, ``count`` and ``spread_mm``.
    """
    u = {name: np.full((n, 2), gauge_of(profile, name)) for name in (*SIDED, *UNSIDED)}

    def put(name: str, who: np.ndarray, side: Any, day: np.ndarray, *of_mean: np.ndarray) -> None:
        here = read_on[name][who, side] == day
        count, spread = (column[here] for column in of_mean)
        sides = side[here] if np.ndim(side) else side
        u[name][who[here], sides] = mean_u(gauge_of(profile, name), count, spread)

    for place, (name, side) in enumerate(PLACES.values()):
        of = repeats.where(repeats.place == place)
        if of.who.size:
            put(name, of.who, side, of.day, of.count, of.spread_mm)
    more = rises["count"] > 1
    if more.any():
        who, day, count, spread = (rises[k][more] for k in ("who", "day", "count", "spread_mm"))
        put("bridge_rise", who, 0, day, count, spread)
    return GaugeUncertainty(
        **{f"{name}_mm": u[name] for name in SIDED},
        **{f"{name}_mm": u[name][:, 0] for name in UNSIDED},
    )


def picked(gauges: GaugeUncertainty, row: int) -> GaugeUncertainty:
    """Those of one instrument."""
    return replace(gauges, **{name: np.asarray(of)[row] for name, of in vars(gauges).items()})
