"""A change of an instrument that is thought of or about to be made: what would it lead to?"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Change:
    """What a piece of work alters; None leaves a figure as it is. Sides are (bass, treble).

    ``tilt_deg`` None: the angle changes by an amount not known. ``by_joint``: it is the adjuster or a
    shim that changes it, whose real effect its own log may have taught.
    """

    tilt_deg: float | None = 0.0
    by_joint: bool = False
    saddle_mm: tuple[float | None, float | None] = (None, None)
    relief_mm: float | None = None
    action_1_mm: tuple[float | None, float | None] = (None, None)
