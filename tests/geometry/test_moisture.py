import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.moisture import equilibrium_moisture_content
from tests.geometry.reference_files import rows


@pytest.mark.parametrize(
    "row", rows("emc_table.csv"), ids=lambda r: f"{r['temperature_c']}C-{r['humidity_pct']}pct"
)
def test_it_matches_the_wood_handbooks_table(row):
    # Wood Handbook (FPL-GTR-282), table 4-2: printed to 0.1, so 0.06 is the honest tolerance.
    moisture = equilibrium_moisture_content(float(row["humidity_pct"]), float(row["temperature_c"]))
    assert moisture == pytest.approx(float(row["moisture_pct"]), abs=0.06)


def test_it_matches_the_same_equation_in_fahrenheit():
    # Wood Handbook equation 4-5 with its other set of coefficients, for °F, written out here.
    t, h = 70.0, 0.45
    w = 330 + 0.452 * t + 0.00415 * t**2
    k = 0.791 + 0.000463 * t - 8.44e-7 * t**2
    k1 = 6.34 + 0.000775 * t - 9.35e-5 * t**2
    k2 = 1.09 + 0.0284 * t - 9.04e-5 * t**2
    layered = (k1 * k * h + 2 * k1 * k2 * (k * h) ** 2) / (1 + k1 * k * h + k1 * k2 * (k * h) ** 2)
    expected = 1800 / w * (k * h / (1 - k * h) + layered)
    celsius = (t - 32) / 1.8
    # Both sets are rounded to three or so figures.
    assert equilibrium_moisture_content(45.0, celsius) == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize("t", [-1.1, 21.1, 54.4, 132.2])
@pytest.mark.parametrize("h", [0.05, 0.45, 0.95])
def test_it_is_the_printed_equation(t, h):
    # Wood Handbook (FPL-GTR-190 and 282), equation 4-5 with the coefficients printed for °C, over
    # the range of table 4-2.
    w = 349 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 0.00000273 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    layered = (k1 * k * h + 2 * k1 * k2 * (k * h) ** 2) / (1 + k1 * k * h + k1 * k2 * (k * h) ** 2)
    expected = 1800 / w * (k * h / (1 - k * h) + layered)
    assert equilibrium_moisture_content(100 * h, t) == pytest.approx(expected, rel=1e-12)


def test_about_five_percent_humidity_makes_one_of_moisture():
    # Common practice, no source (trade.md): 5 % RH per 1 % MC around the middle of the range.
    rise = equilibrium_moisture_content(50.0, 21.0) - equilibrium_moisture_content(45.0, 21.0)
    assert 0.7 < rise < 1.3


@given(st.floats(0, 99), st.floats(0.1, 1), st.floats(-20, 60))
def test_damper_air_makes_damper_wood(humidity, step, temperature):
    dry = equilibrium_moisture_content(humidity, temperature)
    assert equilibrium_moisture_content(humidity + step, temperature) > dry


def test_dry_air_dries_wood_and_a_missing_reading_stays_missing():
    moisture = equilibrium_moisture_content([0.0, math.nan, 45.0, 45.0], [21, 21, math.nan, 21])
    assert moisture[0] == 0.0
    assert list(np.isnan(moisture)) == [False, True, True, False]
    assert moisture[3] == equilibrium_moisture_content(45.0, 21.0)


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        ((101.0, 21.0), "humidity_pct must be between 0 and 100, got 101"),
        ((-1.0, 21.0), "humidity_pct must be between 0 and 100, got -1"),
        ((45.0, 451.0), "temperature_c must be between -20 and 132.2, got 451"),
        ((45.0, math.inf), "temperature_c must be between -20 and 132.2, got inf"),
    ],
)
def test_it_refuses_what_cannot_be(arguments, named):
    with pytest.raises(ValueError, match=named):
        equilibrium_moisture_content(*arguments)
