"""Do the readings of one set-up agree? If not, which single one would explain it?

Action at fret 12 can be read with a gauge and worked out from the other readings. A difference
beyond what the gauges allow means that one of them is misread.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from geometry._checks import FloatArray, as_not_negative, as_reading
from geometry.action import Neck, action_at_fret, reach, sag_per_relief
from geometry.constants import (
    ACTION_1_SD_MM,
    ACTION_12_SD_MM,
    ACTION_FRET,
    CONTRADICTION_U,
    MM_PER_INCH,
    POSSIBLE_ACTION_1_MM,
    POSSIBLE_ACTION_12_MM,
    POSSIBLE_RELIEF_MM,
    POSSIBLE_RISE_MM,
    POSSIBLE_SADDLE_MM,
    RELIEF_SD_MM,
    RISE_SD_MM,
    SADDLE_SD_MM,
    SETTLED_U,
)

SIDES = ("bass", "treble")
_POSSIBLE_MM = {
    "action_1": POSSIBLE_ACTION_1_MM,
    "action_12": POSSIBLE_ACTION_12_MM,
    "saddle": POSSIBLE_SADDLE_MM,
    "bridge_rise": POSSIBLE_RISE_MM,
    "relief": POSSIBLE_RELIEF_MM,
}


@dataclass(frozen=True)
class GaugeUncertainty:
    """Standard deviation of one reading with each gauge; scalars, or arrays that broadcast. [mm]"""

    action_1_mm: ArrayLike = ACTION_1_SD_MM
    action_12_mm: ArrayLike = ACTION_12_SD_MM
    saddle_mm: ArrayLike = SADDLE_SD_MM
    bridge_rise_mm: ArrayLike = RISE_SD_MM
    relief_mm: ArrayLike = RELIEF_SD_MM

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            as_not_negative(name, value)


@dataclass(frozen=True)
class Balance:
    """Measured less predicted action at fret 12, with its standard uncertainty. [mm]

    ``contradicts`` marks a difference beyond three standard uncertainties; a difference that a
    missing reading leaves unknown is NaN and contradicts nothing.
    """

    balance_mm: FloatArray
    u_mm: FloatArray
    contradicts: np.ndarray


@dataclass(frozen=True)
class Sensitivity:
    """Change of the action predicted at fret 12 for a change of each reading. [mm per mm]"""

    action_1: FloatArray
    saddle: FloatArray
    bridge_rise: FloatArray
    relief: FloatArray


@dataclass(frozen=True)
class Suspect:
    """One reading that, if it were wrong, would explain a contradiction.

    ``name`` is the reading, with ``_bass`` or ``_treble`` where it has sides, or ``_swapped``;
    ``should_read_mm`` what the others say it is (bass first where swapped); ``slip`` how it may
    have come about: "swapped", "decimal point", "unit", "sign", or "" for a plain misreading.
    """

    name: str
    should_read_mm: float
    slip: str


def sensitivity(neck: Neck) -> Sensitivity:
    """Weights with which the readings enter the action predicted at fret 12.

    Parameters
    ----------
    neck : Neck
        Lengths of the neck.

    Returns
    -------
    Sensitivity
        First-order weights; exact, since the prediction is linear in the readings. [mm per mm]
    """
    first, twelfth = reach(neck, 1), reach(neck, ACTION_FRET)
    at_saddle = (twelfth - first) / (1.0 - first)
    at_nut = (1.0 - twelfth) / (1.0 - first)
    return Sensitivity(at_nut, at_saddle, at_saddle, sag_per_relief(neck, ACTION_FRET))


def prediction_u(neck: Neck, uncertainty: GaugeUncertainty) -> FloatArray:
    """Standard uncertainty of the action predicted at fret 12. [mm]

    Notes
    -----
    JCGM 100:2008 (GUM), 5.1: independent readings, first order.
    """
    weights = sensitivity(neck)
    terms = [
        weights.action_1 * np.asarray(uncertainty.action_1_mm, np.float64),
        weights.saddle * np.asarray(uncertainty.saddle_mm, np.float64),
        weights.bridge_rise * np.asarray(uncertainty.bridge_rise_mm, np.float64),
        weights.relief * np.asarray(uncertainty.relief_mm, np.float64),
    ]
    return np.sqrt(sum(term**2 for term in terms))


def balance(
    neck: Neck,
    *,
    action_1_mm: ArrayLike,
    action_12_mm: ArrayLike,
    bridge_rise_mm: ArrayLike,
    saddle_mm: ArrayLike,
    relief_mm: ArrayLike,
    uncertainty: GaugeUncertainty | None = None,
) -> Balance:
    """Compare the action read at fret 12 with what the other readings say.

    Parameters
    ----------
    neck : Neck
        Lengths of the neck.
    action_1_mm, action_12_mm, bridge_rise_mm, saddle_mm, relief_mm : array_like
        Readings; NaN marks one that was not taken. All broadcast. [mm]
    uncertainty : GaugeUncertainty, optional
        Standard deviation of each gauge; the defaults if not given. [mm]

    Returns
    -------
    Balance
        Arrays of the broadcast shape.

    Raises
    ------
    ValueError
        If a reading is infinite.

    Notes
    -----
    JCGM 100:2008 (GUM), 5.1: independent readings, first order.
    """
    gauges = uncertainty or GaugeUncertainty()
    predicted = action_at_fret(
        neck,
        ACTION_FRET,
        action_1_mm=action_1_mm,
        bridge_rise_mm=bridge_rise_mm,
        saddle_mm=saddle_mm,
        relief_mm=relief_mm,
    )
    difference = as_reading("action_12_mm", action_12_mm) - predicted
    u = np.hypot(np.asarray(gauges.action_12_mm, np.float64), prediction_u(neck, gauges))
    u = np.broadcast_to(u, difference.shape)
    return Balance(difference, u, np.abs(difference) > CONTRADICTION_U * u)


@dataclass(frozen=True)
class _SetUp:
    """Readings of one instrument while one of them is tried at another value."""

    action_1: FloatArray
    action_12: FloatArray
    saddle: FloatArray
    bridge_rise: FloatArray
    relief: FloatArray

    def balance(self, neck: Neck, uncertainty: GaugeUncertainty) -> Balance:
        return balance(
            neck,
            action_1_mm=self.action_1,
            action_12_mm=self.action_12,
            bridge_rise_mm=self.bridge_rise,
            saddle_mm=self.saddle,
            relief_mm=self.relief,
            uncertainty=uncertainty,
        )

    def settled(self, neck: Neck, uncertainty: GaugeUncertainty, limit_u: float) -> bool:
        found = self.balance(neck, uncertainty)
        return not np.any(np.abs(found.balance_mm) > limit_u * found.u_mm)

    def with_value(self, name: str, side: int | None, value: float) -> "_SetUp":
        changed = np.array(getattr(self, name))
        changed[() if side is None else side] = value
        return replace(self, **{name: changed})


def _slips(value: float) -> Iterator[tuple[float, str]]:
    """Values that a common slip would have turned into the one typed."""
    yield value * 10.0, "decimal point"
    yield value / 10.0, "decimal point"
    yield value * MM_PER_INCH, "unit"
    yield value / MM_PER_INCH, "unit"
    yield -value, "sign"


def _single(
    neck: Neck, readings: _SetUp, name: str, side: int | None, gauges: GaugeUncertainty
) -> Suspect | None:
    """The suspect that one reading makes, if another value of it would settle everything."""
    value = float(getattr(readings, name)[() if side is None else side])
    found = readings.balance(neck, gauges).balance_mm
    missing = float(found[side]) if side is not None else float(np.nanmean(found))
    weight = -1.0 if name == "action_12" else float(getattr(sensitivity(neck), name))
    if weight == 0.0 or np.isnan(value) or np.isnan(missing):
        return None
    low, high = _POSSIBLE_MM[name]
    label = name if side is None else f"{name}_{SIDES[side]}"

    def settles(tried: float, limit_u: float) -> bool:
        changed = readings.with_value(name, side, tried)
        return low <= tried <= high and changed.settled(neck, gauges, limit_u)

    wanted = value + missing / weight
    for tried, slip in _slips(value):
        if settles(tried, SETTLED_U):
            return Suspect(label, tried, slip)
    return Suspect(label, wanted, "") if settles(wanted, CONTRADICTION_U) else None


def suspects(
    neck: Neck,
    *,
    action_1_mm: ArrayLike,
    action_12_mm: ArrayLike,
    bridge_rise_mm: ArrayLike,
    saddle_mm: ArrayLike,
    relief_mm: ArrayLike,
    uncertainty: GaugeUncertainty | None = None,
) -> tuple[Suspect, ...]:
    """Single readings that, if wrong, would explain a contradiction; likeliest first.

    Parameters
    ----------
    neck : Neck
        Lengths of one neck (scalars).
    action_1_mm, action_12_mm, saddle_mm : array_like, shape (2,)
        Readings, bass then treble; NaN marks one that was not taken. [mm]
    bridge_rise_mm, relief_mm : float
        Readings; NaN marks one that was not taken. [mm]
    uncertainty : GaugeUncertainty, optional
        Standard deviation of each gauge; the defaults if not given. [mm]

    Returns
    -------
    tuple of Suspect
        Empty where the readings agree, or where no single one explains it. Recognised slips (a
        swapped pair, a decimal point, a unit, a sign) come before plain misreadings.

    Raises
    ------
    ValueError
        If a reading is infinite.
    """
    gauges = uncertainty or GaugeUncertainty()
    readings = _SetUp(
        np.asarray(action_1_mm, np.float64),
        np.asarray(action_12_mm, np.float64),
        np.asarray(saddle_mm, np.float64),
        np.asarray(bridge_rise_mm, np.float64),
        np.asarray(relief_mm, np.float64),
    )
    if readings.settled(neck, gauges, CONTRADICTION_U):
        return ()
    found = []
    for name in ("action_12", "saddle", "action_1"):
        pair = getattr(readings, name)
        swapped = replace(readings, **{name: pair[::-1]})
        if np.isfinite(pair).all() and swapped.settled(neck, gauges, SETTLED_U):
            found.append(Suspect(f"{name}_swapped", float(pair[1]), "swapped"))
    for name in ("action_12", "bridge_rise", "saddle", "relief", "action_1"):
        for side in (None,) if name in ("bridge_rise", "relief") else (0, 1):
            suspect = _single(neck, readings, name, side, gauges)
            if suspect:
                found.append(suspect)
    return tuple(sorted(found, key=lambda suspect: suspect.slip == ""))
