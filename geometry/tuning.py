"""Notes by name, for the tuning of strings."""

import re

from geometry.constants import FRETS_PER_OCTAVE

_STEPS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}
_SHIFTS = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}
_NOTE = re.compile(r"([a-g])([#♯b♭]?)([0-8])")


def semitones_of(note: str) -> int:
    """How far a note lies from the A above middle C.

    Parameters
    ----------
    note : str
        Letter, sharp or flat, and octave: ``E2`` is a guitar's lowest string, ``A4`` is 440 Hz.

    Returns
    -------
    int
        Semitones above (positive) or below it; see :func:`geometry.strings.pitch_frequency`.

    Raises
    ------
    ValueError
        If it is not a note, saying what was typed and what would be right.

    Notes
    -----
    Scientific pitch notation: the octave's number changes at C.

    Examples
    --------
    >>> semitones_of("E4")
    -5
    """
    match = _NOTE.fullmatch(note.strip().lower())
    if match is None:
        shown = note.strip()[:12]
        raise ValueError(f"“{shown}” is not a note; write a letter and an octave: E2, F#3, Bb3.")
    letter, shift, octave = match.groups()
    from_c0 = _STEPS[letter] + _SHIFTS[shift] + FRETS_PER_OCTAVE * int(octave)
    return from_c0 - (_STEPS["a"] + FRETS_PER_OCTAVE * 4)
