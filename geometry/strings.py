"""Pitch and tension of strings."""

from numpy.typing import ArrayLike

from geometry._checks import FloatArray, as_finite, as_positive
from geometry.constants import A4_HZ, FRETS_PER_OCTAVE, MM_PER_M


def pitch_frequency(semitones_from_a4: ArrayLike, a4_hz: ArrayLike = A4_HZ) -> FloatArray:
    """Frequency of an equal-tempered note.

    Parameters
    ----------
    semitones_from_a4 : array_like
        Semitones above (positive) or below the A above middle C. [-]
    a4_hz : array_like
        Tuning of that A; broadcasts. [Hz]

    Returns
    -------
    ndarray
        Frequency. [Hz]

    Raises
    ------
    ValueError
        If the tuning is not positive or the number of semitones is not finite.

    Notes
    -----
    Source: ISO 16, A4 = 440 Hz; twelve equal semitones to the octave.
    """
    semitones = as_finite("semitones_from_a4", semitones_from_a4)
    return as_positive("a4_hz", a4_hz) * 2.0 ** (semitones / FRETS_PER_OCTAVE)


def string_tension(
    linear_density_kg_m: ArrayLike, vibrating_length_mm: ArrayLike, frequency_hz: ArrayLike
) -> FloatArray:
    """Tension of a string at pitch.

    Parameters
    ----------
    linear_density_kg_m : array_like
        Mass per length. [kg/m]
    vibrating_length_mm : array_like
        Length that sounds: the scale for an open string. [mm]
    frequency_hz : array_like
        Fundamental frequency. All three broadcast. [Hz]

    Returns
    -------
    ndarray
        Tension. [N]

    Raises
    ------
    ValueError
        If any argument is not positive.

    Notes
    -----
    T = mu (2 L f)^2, the law of the ideal string, as string makers' tension charts use it.
    """
    density = as_positive("linear_density_kg_m", linear_density_kg_m)
    length_m = as_positive("vibrating_length_mm", vibrating_length_mm) / MM_PER_M
    return density * (2.0 * length_m * as_positive("frequency_hz", frequency_hz)) ** 2
