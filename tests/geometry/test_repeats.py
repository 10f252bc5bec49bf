"""Several readings of one place in one text; the worth of their mean."""

from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.constants import REPEATS_LIMIT
from geometry.repeats import mean_and_spread, mean_u, odd_one, parse_lengths, visit_u
from geometry.units import parse_length


@pytest.mark.parametrize(
    ("text", "unit", "expected_mm"),
    [
        ("2.4", "mm", [2.4]),
        ("2.4 2.5 2.4", "mm", [2.4, 2.5, 2.4]),
        ("2.4; 2.5", "mm", [2.4, 2.5]),
        ("2,4 2,5", "mm", [2.4, 2.5]),
        ("2,4; 2,5;", "mm", [2.4, 2.5]),
        ("2.4\t2.5", "mm", [2.4, 2.5]),
        ("2.4, 2.5, 2.4", "mm", [2.4, 2.5, 2.4]),
        ("2,4, 2,5,  2", "mm", [2.4, 2.5, 2.0]),
        ("2, 2.5", "mm", [2.0, 2.5]),
        ("2.4 mm, 2.5 mm", "in", [2.4, 2.5]),
        ("-0.3, -0.2 mm", "mm", [-0.3, -0.2]),
        ('0.1", 0.2"', "mm", [2.54, 5.08]),
        ("6/64, 1 1/64", "mm", [2.38125, 25.796875]),
        ("6 / 64 7 /64", "mm", [2.38125, 2.778125]),
        ("2.4 2.5 2.4 mm", "in", [2.4, 2.5, 2.4]),
        ("2.4 mm 2.5 mm", "in", [2.4, 2.5]),
        ("2.4 mm 2.5", "mm", [2.4, 2.5]),
        # An inch is 25.4 mm exactly (1959): 0.1 in = 2.54 mm, 1/64 in = 0.396875 mm.
        ('0.1" 0.2"', "mm", [2.54, 5.08]),
        ("0.1 in. 0.2 in.", "mm", [2.54, 5.08]),
        ("0.1 .2", "in", [2.54, 5.08]),
        ("0.1 in 2.4 mm", "mm", [2.54, 2.4]),
        ("6/64 7/64", "mm", [2.38125, 2.778125]),
        ("1 1/64", "mm", [25.796875]),
        ("1 1/64 1 2/64", "mm", [25.796875, 26.19375]),
        ("1 1/64; 6/64", "mm", [25.796875, 2.38125]),
        ("-0.3 -0.2", "mm", [-0.3, -0.2]),
        ("-1 1/64", "mm", [-25.796875]),
        # What gauges type: leading zeros, a sign, a unit without a space, an ending.
        ("+002.40 mm\r", "in", [2.4]),
        ("2.40mm", "in", [2.4]),
        ("-0.31\t", "mm", [-0.31]),
    ],
)
def test_it_reads_one_or_several(text, unit, expected_mm):
    assert [found.mm for found in parse_lengths(text, unit)] == pytest.approx(expected_mm)


@pytest.mark.parametrize(
    ("text", "unit", "why"),
    [
        ("2, 4", "mm", "may be one number with a stray space"),
        ("2. 4", "mm", "may be one number with a stray space"),
        ("2 .4", "mm", "may be one number with a stray space"),
        ("2, 4, 5", "mm", "may be one number with a stray space"),
        ("2.4, 2.5 2.6", "mm", "both spaces and semicolons"),
        ("1,234, 1,235", "mm", "the comma may mark thousands or decimals"),
        ("6/64 1 1/64", "mm", "may belong together or not"),
        ("2.4; 2.5 2.6", "mm", "both spaces and semicolons"),
        ("6/64 2.4", "mm", "names the unit of some readings only"),
        ("6/64 2.4 mm", "mm", "mixes fractions, which are inches, with millimetres"),
        ("0.1 in 2.4 0.1 in", "mm", "names the unit of some readings only"),
        ("2.4 2.5 cm", "mm", "a unit that is not known here, cm"),
        ("mm 2.4", "mm", "does not begin with a number"),
        ("1,234 1,235", "mm", "the comma may mark thousands or decimals"),
        ("2.402.41", "mm", "is not a plain number"),
        ("0.3-0.2", "mm", "is not a plain number"),
        ("1/0 1/2", "mm", "divides by zero"),
        ("2.4 \x00 2.5", "mm", "invisible control character"),
        (" ; ", "mm", "is not a plain number"),
        ("1 " * 21, "mm", "holds 21 readings, more than 20"),
        ("1" * 301, "mm", "characters long"),
        ("nan 1", "mm", "does not begin with a number"),
    ],
)
def test_it_refuses_what_could_be_read_in_two_ways(text, unit, why):
    with pytest.raises(ValueError, match="write ") as refused:
        parse_lengths(text, unit)
    assert why in str(refused.value)


@given(st.lists(st.integers(-900, 900), min_size=1, max_size=REPEATS_LIMIT))
def test_a_list_is_read_as_each_of_its_readings_alone(hundredths):
    texts = [f"{value / 100:.2f}" for value in hundredths]
    alone = [parse_length(text).mm for text in texts]
    for joint in (" ", "; ", ", "):
        assert [found.mm for found in parse_lengths(joint.join(texts))] == alone


@given(st.text("0123456789.,/+-; mi\"'n½", max_size=60))
def test_any_text_is_read_or_refused_with_words(text):
    found, refusal = [], ""
    try:
        found = parse_lengths(text)
    except ValueError as error:
        refusal = str(error)
    assert "write " in refusal or 1 <= len(found) <= REPEATS_LIMIT


def test_the_odd_reading_out_is_named():
    assert odd_one([2.4, 2.5, 2.4], 0.1) is None
    assert odd_one([2.4, 4.2, 2.4], 0.1) == 1
    assert odd_one([2.4, 3.1], 0.1) == 1
    assert odd_one([2.4], 0.1) is None
    # 0.8 mm apart where the limit, 4·√2·u, is 0.8 mm: the last digit decides nothing
    assert odd_one([2.4, 2.4 + 0.8], 0.8 / 4 / 2**0.5) is None


def test_two_good_readings_are_asked_about_once_in_two_hundred_times():
    # Two normal readings differ with s.d. √2 u: the chance that they are further apart than the limit.
    limit = 4 * 2**0.5
    assert odd_one([0.0, limit - 0.01], 1.0) is None
    assert odd_one([0.0, limit + 0.01], 1.0) == 1
    assert 2 * (1 - NormalDist(sigma=2**0.5).cdf(limit)) < 0.005


def test_the_mean_and_the_sample_standard_deviation():
    # By hand: deviations −1, 0, 1; squares sum to 2; over n − 1 = 2 that is 1.
    assert mean_and_spread([1.0, 2.0, 3.0]) == (2.0, 1.0)
    assert mean_and_spread([2.4]) == (2.4, None)


def test_a_mean_is_surer_than_one_reading_by_the_root_of_their_number():
    # JCGM 100:2008 (GUM), 4.2.3: s²(mean) = s²/n, where the spread seen is the one the gauge is known for.
    assert mean_u(0.2, 4, 0.2) == pytest.approx(0.1)
    assert mean_u(0.2, 1, None) == 0.2


def test_the_spread_seen_moves_the_uncertainty_its_own_way():
    assert mean_u(0.2, 3, 0.0) < 0.2 / 3**0.5 < mean_u(0.2, 3, 0.5)


@pytest.mark.parametrize(
    ("gauge", "count", "spread"), [(-0.1, 1, None), (0.1, 0, None), (0.1, 2, -1)]
)
def test_impossible_uncertainties_are_refused(gauge, count, spread):
    with pytest.raises(ValueError, match="must"):
        mean_u(gauge, count, spread)


def test_a_single_reading_of_a_visit_is_worth_what_the_gauge_is():
    assert visit_u([0.05, 0.2, 0.4], 1, np.nan).tolist() == [0.05, 0.2, 0.4]


def test_what_a_visit_is_worth_worked_by_hand():
    # JCGM 100:2008 (GUM) H.3.6 and 5.1: gauge 0.2 mm worth 8 readings, three here with s = 0.1 mm, 0.15 mm
    # between visits (planning defaults). Pooled (8·0.04 + 2·0.01)/10 = 0.034, of the mean 0.011333;
    # (0.0225 + 0.011333)/(0.0225 + 0.04) = 0.541333; 0.2·√0.541333 = 0.147151 mm.
    assert visit_u(0.2, 3, 0.1) == pytest.approx(0.147151, abs=1e-6)


def test_more_readings_in_a_visit_are_worth_more_but_only_so_much():
    count = np.arange(1, 21)
    u = visit_u(0.2, count, np.where(count == 1, np.nan, 0.2))
    assert (np.diff(u) < 0).all()
    assert u[-1] > 0.2 * 0.15 / 0.25  # √(0.15² + 0.2²) = 0.25: all that averaging could ever do


def test_readings_that_scatter_more_are_worth_less_in_the_end_less_than_one():
    u = visit_u(0.2, 2, [0.0, 0.1, 0.3, 1.0, 3.0])
    assert (np.diff(u) > 0).all()
    assert u[0] < 0.2 < u[-2]


def test_repeats_gain_little_where_the_gauge_is_fine_already():
    coarse, fine = 0.4, 0.05
    assert visit_u(fine, 5, fine) / fine > 0.94 > 0.6 > visit_u(coarse, 5, coarse) / coarse


@pytest.mark.parametrize(("count", "spread"), [(0, np.nan), (2, -0.1), (np.nan, 0.1)])
def test_impossible_visits_are_refused(count, spread):
    with pytest.raises(ValueError, match="must be"):
        visit_u(0.2, count, spread)
