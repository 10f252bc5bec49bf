import math

import pytest

from geometry.strings import pitch_frequency, string_tension
from tests.geometry.reference_files import rows

KG_PER_LB, MM_PER_IN, N_PER_LBF = 0.45359237, 25.4, 4.4482216152605
# The chart's formula divides by 386.4 in/s²; standard gravity is 386.0886.
CHART_READS_LOW = 386.4 / 386.0886


@pytest.mark.parametrize("row", rows("pitch.csv"), ids=lambda r: r["note"])
def test_open_strings_sound_at_their_standard_pitch(row):
    # ISO 16 and equal temperament; printed to 0.001 Hz. A4 itself is exact.
    hz = pitch_frequency(int(row["semitones_from_a4"]))
    assert hz == pytest.approx(float(row["hz"]), abs=6e-4)


def test_another_tuning_scales_every_pitch():
    assert pitch_frequency(-12, 432.0) == pytest.approx(216.0)


@pytest.mark.parametrize("row", rows("light_set_tension.csv"), ids=lambda r: r["note"])
def test_tension_matches_the_charts_formula(row):
    # Source named in the file; tensions there carry three decimals and the chart's rounded gravity.
    density = float(row["unit_weight_lb_in"]) * KG_PER_LB / (MM_PER_IN / 1000)
    tension = string_tension(density, 25.5 * MM_PER_IN, float(row["frequency_hz"]))
    expected = float(row["tension_lbf"]) * CHART_READS_LOW
    assert tension / N_PER_LBF == pytest.approx(expected, rel=1e-4)


def test_a_plain_steel_string_from_its_density():
    # Music wire, 7.8 g/cm³ (data sheet of ASTM A228 at makeitfrom.com): a 0.012 in string of a
    # 25.5 in scale at E4 should pull as the chart's own 23.331 lbf, to 0.2 %.
    density = 7800.0 * math.pi / 4.0 * (0.012 * MM_PER_IN / 1000.0) ** 2
    tension = string_tension(density, 25.5 * MM_PER_IN, pitch_frequency(-5))
    assert tension / N_PER_LBF == pytest.approx(23.331, rel=2e-3)


def test_tension_grows_with_the_square_of_pitch():
    assert string_tension(0.001, 650.0, 220.0) == pytest.approx(
        4.0 * string_tension(0.001, 650.0, 110.0)
    )


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        ((0.0, 650.0, 110.0), "linear_density_kg_m must be more than 0, got 0"),
        ((0.001, -650.0, 110.0), "vibrating_length_mm must be more than 0, got -650"),
        ((0.001, 650.0, math.nan), "frequency_hz must be more than 0, got nan"),
    ],
)
def test_it_refuses_what_cannot_be(arguments, named):
    with pytest.raises(ValueError, match=named):
        string_tension(*arguments)


def test_pitch_refuses_what_cannot_be():
    with pytest.raises(ValueError, match="semitones_from_a4 must be a finite number"):
        pitch_frequency(math.inf)
    with pytest.raises(ValueError, match="a4_hz must be more than 0"):
        pitch_frequency(0, 0.0)
