"""A neck's lengths, and what a fret's place on it means for the string above.

The frame is a side view. The fret plane is the straight line through the crowns of fret 1 and
the body-joint fret on the centre line, carried on to the bridge; heights are above it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import cached_property, wraps

import numpy as np
from numpy.typing import ArrayLike

from geometry._checks import FloatArray, as_between, as_finite, as_not_negative, as_positive
from geometry.constants import HALF_SPREAD_NUT_MM, HALF_SPREAD_SADDLE_MM, JOINT_FRET_RANGE
from geometry.frets import crown_drop, fret_distance


@dataclass(frozen=True)
class Neck:
    """Lengths of one neck, or of many as arrays that broadcast.

    Parameters
    ----------
    scale_length_mm : array_like
        Nominal scale length. [mm]
    compensation_mm : array_like
        Saddle line beyond the nominal scale; 0 if unknown. [mm]
    joint_fret : array_like
        Fret at the body joint, usually 12 or 14. [-]
    fretboard_radius_mm : array_like or None
        Camber; None or inf is flat. [mm]
    half_spread_nut_mm, half_spread_saddle_mm : array_like
        Outer string's distance from the centre line at the nut and at the saddle. [mm]

    Raises
    ------
    ValueError
        If a length cannot be, naming the field.
    """

    scale_length_mm: ArrayLike
    compensation_mm: ArrayLike = 0.0
    joint_fret: ArrayLike = 14
    fretboard_radius_mm: ArrayLike | None = None
    half_spread_nut_mm: ArrayLike = HALF_SPREAD_NUT_MM
    half_spread_saddle_mm: ArrayLike = HALF_SPREAD_SADDLE_MM

    def __post_init__(self) -> None:
        as_between("joint_fret", self.joint_fret, *JOINT_FRET_RANGE)
        spread_nut = as_not_negative("half_spread_nut_mm", self.half_spread_nut_mm)
        spread_saddle = as_not_negative("half_spread_saddle_mm", self.half_spread_saddle_mm)
        for name, spread in (
            ("half_spread_nut_mm", spread_nut),
            ("half_spread_saddle_mm", spread_saddle),
        ):
            try:
                crown_drop(spread, self.fretboard_radius_mm)
            except ValueError as error:
                text = str(error).replace("offset_mm", name)
                raise ValueError(text) from error
        as_finite("compensation_mm", self.compensation_mm)
        as_positive("scale_length_mm", self.scale_length_mm)
        beyond_joint = self.saddle_line_mm - self.joint_mm
        as_positive("scale_length_mm + compensation_mm, beyond the joint,", beyond_joint)

    @cached_property
    def known(self) -> dict[tuple[str, int], FloatArray]:
        """What was worked out of this neck at whole frets; see :func:`once_a_neck`."""
        return {}

    @cached_property
    def two_sided(self) -> Neck:
        """The neck with a last axis of one, so that its fields broadcast against (bass, treble)."""

        sides = object.__new__(Neck)  # of fields that were checked
        for field in fields(self):
            value = getattr(self, field.name)
            wide = None if value is None else np.asarray(value, np.float64)[..., None]
            object.__setattr__(sides, field.name, wide)
        return sides

    @cached_property
    def saddle_line_mm(self) -> FloatArray:
        """Nut to saddle line. [mm]"""
        scale = np.asarray(self.scale_length_mm, np.float64)
        return scale + np.asarray(self.compensation_mm, np.float64)

    @cached_property
    def joint_mm(self) -> FloatArray:
        """Nut to the body-joint fret. [mm]"""
        return fret_distance(self.scale_length_mm, self.joint_fret)


AtFret = Callable[[Neck, ArrayLike], FloatArray]


def once_a_neck(at_fret: AtFret) -> AtFret:
    """Work out what only depends on a neck and a whole fret number once: a neck does not change."""

    @wraps(at_fret)
    def remembered(neck: Neck, fret: ArrayLike) -> FloatArray:
        if not isinstance(fret, int):
            return at_fret(neck, fret)
        key = at_fret.__name__, fret
        if key not in neck.known:
            neck.known[key] = np.asarray(at_fret(neck, fret))
            neck.known[key].setflags(write=False)
        return neck.known[key]

    return remembered


@once_a_neck
def reach(neck: Neck, fret: ArrayLike) -> FloatArray:
    """Share of the way from nut to saddle line at which a fret lies.

    Parameters
    ----------
    neck : Neck
        Lengths of the neck.
    fret : array_like
        Fret number; broadcasts against the neck's fields. [-]

    Returns
    -------
    ndarray
        x_n / x_s, 0 at the nut. [-]

    Raises
    ------
    ValueError
        If a fret is beyond reach.
    """
    return fret_distance(neck.scale_length_mm, fret) / neck.saddle_line_mm


@once_a_neck
def camber_at(neck: Neck, fret: ArrayLike) -> FloatArray:
    """Drop of the fret's crown below the centre line, under an outer string. [mm]"""
    nut = np.asarray(neck.half_spread_nut_mm, np.float64)
    saddle = np.asarray(neck.half_spread_saddle_mm, np.float64)
    offset = nut + (saddle - nut) * reach(neck, fret)
    return crown_drop(offset, neck.fretboard_radius_mm)


@once_a_neck
def sag_per_relief(neck: Neck, fret: ArrayLike) -> FloatArray:
    """Share of the relief that lies under the string at a fret.

    Relief is taken as a parabola: none at fret 1 and at the joint fret, all of it midway.

    Parameters
    ----------
    neck : Neck
        Lengths of the neck.
    fret : array_like
        Fret number; broadcasts. [-]

    Returns
    -------
    ndarray
        0 to 1; 0 outside fret 1 to the joint fret. [-]
    """
    first = fret_distance(neck.scale_length_mm, 1)
    along = (fret_distance(neck.scale_length_mm, fret) - first) / (neck.joint_mm - first)
    return np.maximum(4.0 * along * (1.0 - along), 0.0)
