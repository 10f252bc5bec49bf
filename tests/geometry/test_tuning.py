import pytest

from geometry.tuning import semitones_of
from tests.geometry.reference_files import rows


@pytest.mark.parametrize("row", rows("pitch.csv"), ids=lambda r: r["note"])
def test_open_strings_lie_as_far_below_a4_as_the_table_says(row):
    # ISO 16 and equal temperament; the file names its source.
    assert semitones_of(row["note"]) == int(row["semitones_from_a4"])


@pytest.mark.parametrize(
    ("one", "other"), [("C#4", "Db4"), ("e2", "E2"), ("F♯3", "Gb3"), (" B♭2 ", "A#2")]
)
def test_one_note_has_several_spellings(one, other):
    assert semitones_of(one) == semitones_of(other)


def test_the_octave_changes_at_c():
    # Scientific pitch notation: middle C is C4 and the note below it B3.
    assert semitones_of("C4") - semitones_of("B3") == 1


@pytest.mark.parametrize("text", ["", "H2", "E", "E9", "E2E", "²", "E2\n2", "E##2"])
def test_it_refuses_what_is_not_a_note(text):
    with pytest.raises(ValueError, match=r"is not a note; write a letter and an octave"):
        semitones_of(text)
