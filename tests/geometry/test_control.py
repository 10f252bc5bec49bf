"""Control charts against the worked example of the NIST/SEMATECH e-Handbook."""

import json

import numpy as np
import pytest

from geometry.control import ewma_chart
from tests.geometry.reference_files import REFERENCE

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4
NIST = json.loads((REFERENCE / "03m_nist_control_charts.json").read_text(encoding="utf-8"))


def test_the_moving_average_and_its_limits_are_the_handbooks():
    example = NIST["ewma"]
    chart = ewma_chart(example["data"], centre=50.0, sd=2.0539, weight=0.3)
    np.testing.assert_allclose(chart.values, example["printed_ewma"], atol=0.006)
    # the handbook prints the limits from rounded intermediate figures
    assert chart.high == pytest.approx(52.5884, abs=1e-4)
    assert chart.low == pytest.approx(47.4115, abs=2e-4)
    assert not chart.beyond.any(), "the handbook: in control"


def test_a_lasting_shift_of_one_deviation_is_found_within_a_dozen_readings():
    rng = np.random.default_rng(5)
    steady, shifted = rng.normal(0, 1, 30), rng.normal(1.5, 1, 12)
    chart = ewma_chart([*steady, *shifted], centre=0.0, sd=1.0)
    assert not chart.beyond[:30].any()
    assert chart.beyond[30:].any()


def test_a_weight_of_one_is_the_values_themselves():
    values = [0.3, -1.2, 2.0]
    chart = ewma_chart(values, centre=0.0, sd=1.0, weight=1.0)
    np.testing.assert_array_equal(chart.values, values)
    assert (chart.low, chart.high) == (-3.0, 3.0)


def test_adding_a_constant_moves_values_and_limits_alike():
    values = np.array([1.0, 1.4, 0.8, 1.1])
    plain, moved = (ewma_chart(values + by, centre=1.0 + by, sd=0.2) for by in (0.0, 7.0))
    np.testing.assert_allclose(moved.values - plain.values, 7.0)
    assert moved.high - plain.high == pytest.approx(7.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: ewma_chart([1.0], centre=0.0, sd=0.0), "sd"),
        (lambda: ewma_chart([1.0], centre=0.0, sd=1.0, weight=0.0), "weight"),
        (lambda: ewma_chart([1.0], centre=0.0, sd=1.0, weight=1.5), "weight"),
        (lambda: ewma_chart([np.nan], centre=0.0, sd=1.0), "values"),
        (lambda: ewma_chart([[1.0, 2.0]], centre=0.0, sd=1.0), "values"),
    ],
)
def test_what_cannot_be_charted_is_refused_by_name(call, words):
    with pytest.raises(ValueError, match=words):
        call()
