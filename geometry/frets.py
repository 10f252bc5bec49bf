"""Where the frets lie, and how far a cambered fretboard falls away under an outer string."""

import numpy as np
from numpy.typing import ArrayLike

from geometry._checks import FloatArray, as_between, as_finite, as_numbers, as_positive
from geometry.constants import FRETS_PER_OCTAVE, MAX_FRET


def fret_distance(scale_length_mm: ArrayLike, fret: ArrayLike) -> FloatArray:
    """Distance from the nut to a fret's crown.

    Parameters
    ----------
    scale_length_mm : array_like
        Nominal scale length. [mm]
    fret : array_like
        Fret number, 0 (the nut) to 36; broadcasts against ``scale_length_mm``. [-]

    Returns
    -------
    ndarray
        Distance along the string. [mm]

    Raises
    ------
    ValueError
        If a scale is not positive or a fret is beyond reach.

    Notes
    -----
    Equal temperament: each fret leaves 2^(-1/12) of the string before it.

    Examples
    --------
    >>> float(fret_distance(650.0, 12))
    325.0
    """
    scale = as_positive("scale_length_mm", scale_length_mm)
    number = as_between("fret", fret, 0, MAX_FRET)
    return scale * (1.0 - 2.0 ** (-number / FRETS_PER_OCTAVE))


def crown_drop(offset_mm: ArrayLike, fretboard_radius_mm: ArrayLike | None) -> FloatArray:
    """How far the fretboard lies below its centre line under a string to one side.

    Parameters
    ----------
    offset_mm : array_like
        Sideways distance from the centre line, either sign. [mm]
    fretboard_radius_mm : array_like or None
        Radius of the camber; None or inf is a flat board. Broadcasts. [mm]

    Returns
    -------
    ndarray
        Drop, 0 or more. [mm]

    Raises
    ------
    ValueError
        If a radius is not positive, or smaller than the offset.

    Notes
    -----
    R - sqrt(R^2 - y^2), written so that it does not cancel for a large radius, nor fail for inf.
    """
    offset = as_finite("offset_mm", offset_mm)
    flat = fretboard_radius_mm is None
    radius = as_numbers("fretboard_radius_mm", np.inf if flat else fretboard_radius_mm)
    if not np.all(radius > 0):
        raise ValueError(
            f"fretboard_radius_mm must be more than 0, or None for a flat board, got {radius}"
        )
    if not np.all(np.abs(offset) <= radius):
        raise ValueError(
            f"offset_mm must lie within the fretboard_radius_mm {radius}, got {offset}"
        )
    below = radius + np.sqrt(radius - offset) * np.sqrt(radius + offset)
    return np.asarray(offset**2 / below)
