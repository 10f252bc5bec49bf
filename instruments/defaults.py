"""The usual figure wherever an instrument's own was not measured (common practice, no source)."""

from instruments.models import Strings

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


def joint_dimension(name: str, value: float | None) -> float:
    return USUAL_JOINT[name] if value is None else value
