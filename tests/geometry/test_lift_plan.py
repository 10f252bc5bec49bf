"""What one more reading is expected to buy."""

import numpy as np
import pytest
from scipy.special import ndtr

from geometry.lift import crossing, fit_lift, surprise
from geometry.lift_model import LiftPrior
from geometry.lift_plan import _reading_of_score, expected_narrowing

AGE = np.array([[10.0, 10.4, 11.1], [10.0, 0.0, 0.0]])
RISE = np.array([[-0.40, -0.35, -0.30], [-0.4, np.nan, np.nan]])
OFFSET = np.array([[0.5, 0.2, 0.8], [0.5, np.nan, np.nan]])
WEIGHT = np.array([[1.0, 1.0, 1.0], [1.0, 0.0, 0.0]])
READINGS = (AGE, RISE, OFFSET, WEIGHT)
ASKED = {"limit_mm": [0.2, 0.2], "horizon_age_years": [80.0, 80.0]}


def after(next_age, next_offset=0.0, **changes):
    asked = ASKED | {"next_age_years": next_age, "next_offset_pct": next_offset} | changes
    return expected_narrowing(*READINGS, **asked)


def test_a_reading_is_expected_to_narrow_the_range():
    found = after(14.0)
    assert (found.after_years < found.now_years).all()
    assert (found.after_years > 0.2 * found.now_years).all()


def test_width_now_is_that_of_the_dates():
    dates = crossing(fit_lift(*READINGS), [0.2, 0.2], horizon_age_years=[80.0, 80.0])
    late = np.where(np.isnan(dates[:, 2]), 80.0, dates[:, 2])
    np.testing.assert_allclose(after(14.0).now_years, late - dates[:, 0], atol=2e-3)


def test_a_later_reading_buys_more_than_one_tomorrow():
    soon, later = after(11.2).after_years[0], after(18.0).after_years[0]
    assert later < soon


def test_a_reading_without_humidity_buys_less():
    assert after(14.0, np.nan).after_years[0] > after(14.0).after_years[0]


def test_readings_tried_have_their_scores():
    fit = fit_lift(*READINGS)
    age, offset = np.array([14.0, 14.0]), np.array([-1.0, -1.0])
    for score in (-np.sqrt(3.0), 0.0, np.sqrt(3.0)):
        reading = _reading_of_score(fit, age, offset, RISE, score)
        back = surprise(fit, age, reading, offset)
        np.testing.assert_allclose(ndtr(back), ndtr(score), atol=2e-3)


def test_an_instrument_alone_is_told_what_it_is_told_in_company():
    prior = LiftPrior(log_rate_mean=np.log([0.3, 0.9]), log_rate_sd=np.array([0.4, 0.6]))
    asked = {"next_age_years": 14.0, "next_offset_pct": -1.0, "age_sd_years": [3.0, 0.0]}
    both = expected_narrowing(*READINGS, **ASKED, **asked, prior=prior)
    for row in (0, 1):
        one = np.array([row])
        asked["age_sd_years"] = [[3.0, 0.0][row]]
        facts = [column[one] for column in READINGS]
        limits = {"limit_mm": [0.2], "horizon_age_years": [80.0]}
        alone = expected_narrowing(*facts, **limits, **asked, prior=prior.take(one))
        np.testing.assert_allclose(alone.after_years[0], both.after_years[row], atol=5e-3)
    assert abs(both.after_years[0] - both.after_years[1]) > 0.1


def test_no_reading_or_no_limit_gives_nan():
    nothing = (AGE, np.full_like(RISE, np.nan), OFFSET, WEIGHT)
    found = expected_narrowing(*nothing, next_age_years=14.0, next_offset_pct=0.0, **ASKED)
    assert np.isnan(found.now_years).all()
    assert np.isnan(found.after_years).all()
    found = after(14.0, limit_mm=[np.nan, 0.2])
    assert np.isnan(found.after_years).tolist() == [True, False]


def test_an_early_date_past_the_horizon_leaves_no_width():
    found = after(14.0, limit_mm=[50.0, 50.0])
    np.testing.assert_array_equal(found.now_years, [0.0, 0.0])


def test_refuses_what_the_fit_refuses():
    with pytest.raises(ValueError, match="age_years must be 0 or more"):
        after(-1.0)
    with pytest.raises(ValueError, match="horizon_age_years must be more than 0"):
        after(14.0, horizon_age_years=[0.0, 0.0])
