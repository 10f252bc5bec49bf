"""The usual figure wherever an instrument's own was not measured (common practice, no source)."""

from typing import Any

from instruments.models import JointKind, Strings

USUAL_DIMENSIONS: dict[str, dict[str, float]] = {
    Strings.STEEL: {
        "scale_length_mm": 645.2,
        "compensation_mm": 2.5,
        "joint_fret": 14,
        "fretboard_radius_mm": 406.4,
        "half_spread_nut_mm": 18.5,
        "half_spread_saddle_mm": 27.0,
    },
    Strings.NYLON: {
        "scale_length_mm": 650.0,
        "compensation_mm": 1.5,
        "joint_fret": 12,
        "fretboard_radius_mm": 0.0,
        "half_spread_nut_mm": 21.0,
        "half_spread_saddle_mm": 29.0,
    },
}
USUAL_JOINT: dict[str, float] = {
    "pivot_depth_mm": 12.0,
    "heel_depth_mm": 90.0,
    "bolt_arm_mm": 75.0,
    "thread_pitch_mm": 1.0,
    "tilt_max_deg": 2.0,
}
USUAL_SET_FRETS = (1, 12)


def dimension(name: str, strings: str, value: float | None) -> float:
    """A dimension as measured, else the usual one for the strings."""
    return USUAL_DIMENSIONS[strings][name] if value is None else value


def dimensions(row: Any) -> dict[str, float]:
    """All of an instrument's dimensions, its own or the usual ones."""
    return {
        name: dimension(name, row.strings, getattr(row, name))
        for name in USUAL_DIMENSIONS[row.strings]
    }


def joint_dimension(name: str, value: float | None) -> float:
    return USUAL_JOINT[name] if value is None else value


def turns_by_screw(kind: str) -> bool:
    return kind == JointKind.TILTING
