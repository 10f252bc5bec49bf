"""What each reading can be: outside ``POSSIBLE`` it is refused, outside ``USUAL`` asked about once.

Ranges are common practice and mechanics, no published source; a figure outside USUAL is rare, not wrong.
"""

from typing import NamedTuple

from shop.models import ShopProfile


class Reading(NamedTuple):
    """What a reading can be, what it mostly is, and the setting that holds one's standard deviation.

    Margins are read with the saddle's gauge; the action's setting goes by the fret.
    """

    possible: tuple[float, float]
    usual: tuple[float, float]
    gauge: str = ""


READINGS: dict[str, Reading] = {
    "relief_mm": Reading((-0.5, 1.5), (-0.1, 0.8), "relief_u_mm"),
    "bridge_rise_mm": Reading((-8.0, 10.0), (-3.0, 4.5), "bridge_rise_u_mm"),
    "saddle_bass_mm": Reading((0.0, 10.0), (0.8, 6.0), "saddle_u_mm"),
    "saddle_treble_mm": Reading((0.0, 10.0), (0.5, 6.0), "saddle_u_mm"),
    "margin_bass_mm": Reading((0.0, 10.0), (1.5, 6.0), "saddle_u_mm"),
    "margin_treble_mm": Reading((0.0, 10.0), (1.5, 6.0), "saddle_u_mm"),
    "action_mm": Reading((0.0, 12.0), (0.1, 7.0)),
    "humidity_pct": Reading((1.0, 100.0), (15.0, 85.0)),
    "temperature_c": Reading((-20.0, 50.0), (5.0, 35.0)),
}
POSSIBLE = {name: reading.possible for name, reading in READINGS.items()}
USUAL = {name: reading.usual for name, reading in READINGS.items()}

#: What the figures of a piece of work can be.
WORK_POSSIBLE: dict[str, tuple[float, float]] = {
    "turns": (-40.0, 40.0),
    "shim_from_mm": (0.0, 10.0),
    "shim_to_mm": (0.0, 10.0),
    "tilt_from_deg": (-5.0, 5.0),
    "tilt_to_deg": (-5.0, 5.0),
    "saddle_bass_from_mm": POSSIBLE["saddle_bass_mm"],
    "saddle_bass_to_mm": POSSIBLE["saddle_bass_mm"],
    "saddle_treble_from_mm": POSSIBLE["saddle_treble_mm"],
    "saddle_treble_to_mm": POSSIBLE["saddle_treble_mm"],
    "relief_from_mm": POSSIBLE["relief_mm"],
    "relief_to_mm": POSSIBLE["relief_mm"],
    "nut_bass_to_mm": (0.0, 3.0),
    "nut_treble_to_mm": (0.0, 3.0),
    "wedge_mm": (-5.0, 8.0),
}


def possible_action(fret: int) -> tuple[float, float]:
    """What the action can be at a fret: near the nut a string cannot stand as high as at the body."""
    low, high = POSSIBLE["action_mm"]
    return (low, min(high, 2.0 + 0.8 * fret))


def usual_action(fret: int) -> tuple[float, float]:
    """What the action mostly is at a fret: it grows with the distance from the nut."""
    low, high = USUAL["action_mm"]
    return (max(low, 0.055 * fret), min(high, 1.0 + 0.4 * fret))


def gauge_u_mm(name: str, profile: ShopProfile) -> float:
    """Standard deviation of one reading of a length other than the action. [mm]"""
    return float(getattr(profile, READINGS[name].gauge))


def action_gauge_u_mm(fret: int, profile: ShopProfile) -> float:
    """Standard deviation of one reading of the action, between those known at frets 1 and 12. [mm]"""
    along = min(max((fret - 1) / 11, 0.0), 1.0)
    return profile.action_1_u_mm + along * (profile.action_12_u_mm - profile.action_1_u_mm)


def factor_slip(value: float, usual: tuple[float, float]) -> float | None:
    """The value meant if the decimal point slipped by one place, or None if that explains nothing."""
    for guess in (value / 10, value * 10, -value):
        if usual[0] <= guess <= usual[1]:
            return guess
    return None
