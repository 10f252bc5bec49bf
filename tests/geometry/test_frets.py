import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.frets import crown_drop, fret_distance
from tests.geometry.reference_files import rows


@pytest.mark.parametrize("row", rows("fret_tables.csv"), ids=lambda r: f"{r['scale']}-{r['fret']}")
def test_fret_positions_match_published_tables(row):
    # Published tables named in the file, printed to 0.001 in and to 0.001 mm. One cell is printed
    # a half unit off, hence 0.0006.
    scale = float(row["scale"])
    from_nut = float(fret_distance(scale, int(row["fret"])))
    distance = from_nut if row["from"] == "nut" else scale - from_nut
    assert distance == pytest.approx(float(row["distance"]), abs=6e-4)


def test_the_nut_is_at_zero_and_the_octave_halfway():
    # An octave halves the string: the law of the ideal string.
    np.testing.assert_allclose(fret_distance(650.0, [0, 12, 24]), [0.0, 325.0, 487.5])


def test_camber_under_an_outer_string():
    # geometry.md section 1: 0.90 mm at 27 mm on a 16 in radius, hand-checked by Pythagoras.
    assert crown_drop(27.0, 406.4) == pytest.approx(0.8979, abs=5e-5)
    assert crown_drop(3.0, 5.0) == pytest.approx(1.0)  # the 3-4-5 triangle
    assert crown_drop(0.3, 0.5) == pytest.approx(0.1)  # and a tenth of it
    assert crown_drop(5.0, 5.0) == 5.0  # a quarter of the circle


@pytest.mark.parametrize("flat", [None, math.inf])
def test_a_flat_board_does_not_drop(flat):
    assert crown_drop(27.0, flat) == 0.0


def test_flat_and_cambered_boards_mix_in_one_array():
    np.testing.assert_allclose(crown_drop([3.0, 3.0], [5.0, math.inf]), [1.0, 0.0])


@given(st.floats(-50, 50), st.floats(60, 5000))
def test_the_drop_is_even_and_closes_the_circle(offset, radius):
    drop = crown_drop(offset, radius)
    assert drop == crown_drop(-offset, radius)
    assert (radius - drop) ** 2 + offset**2 == pytest.approx(radius**2)


@given(st.floats(300, 900), st.lists(st.integers(0, 36), min_size=1, max_size=5))
def test_one_fret_is_a_row_of_many(scale, frets):
    batch = fret_distance(scale, frets)
    # To the last digit or two: array and scalar powers may round differently.
    np.testing.assert_allclose(batch, [fret_distance(scale, n) for n in frets], rtol=1e-14)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: fret_distance(-650.0, 1), "scale_length_mm must be more than 0, got -650"),
        (lambda: fret_distance(math.nan, 1), "scale_length_mm must be more than 0, got nan"),
        (lambda: fret_distance(650.0, 37), "fret must be between 0 and 36, got 37"),
        (lambda: fret_distance(650.0, [1, -1]), "fret must be between 0 and 36, got -1"),
        (lambda: fret_distance(650.0, "one"), "fret must be a number"),
        (lambda: crown_drop(1.0, 0.0), "fretboard_radius_mm must be more than 0"),
        (lambda: crown_drop(1.0, math.nan), "fretboard_radius_mm must be more than 0"),
        (lambda: crown_drop(math.inf, 400.0), "offset_mm must be a finite number, got inf"),
        (lambda: crown_drop(401.0, 400.0), "offset_mm must lie within the fretboard_radius_mm"),
    ],
)
def test_it_refuses_what_cannot_be(call, message):
    with pytest.raises(ValueError, match=message):
        call()
