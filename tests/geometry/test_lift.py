"""The lift fit: its limits, its priors, its readings and its refusals."""

from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from geometry.constants import SEASON_SD_MM
from geometry.lift import (
    LiftPrior,
    components,
    crossing,
    crossing_probability,
    fit_lift,
    lasting_rise,
    seasonal_part,
    surprise,
)
from geometry.lift_fit import AGE_NODE_WEIGHTS, AGE_NODES

AGE = np.array([[2.0, 3.5, 5.0, 7.0, 8.0, 11.0, 12.5, 14.0]])
OFFSET = np.array([[1.5, -1.0, 0.5, -2.0, 2.0, 0.0, 1.0, -1.5]])
SCATTER = np.array([[0.10, -0.15, 0.05, 0.12, -0.20, 0.08, -0.05, 0.06]])
RISE = -1.5 + 2.0 * (AGE / 30.0) ** 0.45 + 0.2 * OFFSET + SCATTER
ONES = np.ones_like(AGE)


def test_one_exponent_and_flat_priors_are_least_squares():
    # A linear grid of rates with a flat prior is an integral over the slope: what is left is the
    # Student t of ordinary least squares on [1, (t/30)^p, moisture], by statsmodels.
    prior = LiftPrior(
        exponents=(0.45,),
        exponent_weights=(1.0,),
        log_rate_sd=np.inf,
        origin_rise_sd_mm=np.inf,
        moisture_slope_sd=np.inf,
        noise_shape=0.0,
        season_sd_mm=0.0,
        rates_mm=tuple(np.linspace(0.0, 20.0, 8001)[1:]),
    )
    rise = RISE + 8.0 * (AGE / 30.0) ** 0.45  # far enough from β = 0, where the grid ends
    weight = np.array([[1.0, 0.5, 2.0, 1.0, 1.0, 3.0, 1.0, 1.0]])
    fit = fit_lift(AGE, rise, OFFSET, weight, prior=prior, robust=False)
    x = np.column_stack([np.ones(8), (AGE[0] / 30.0) ** 0.45, OFFSET[0]])
    model = sm.WLS(rise[0], x, weights=weight[0]).fit()
    at = np.array([[1.0, (20.0 / 30.0) ** 0.45, 0.0], [1.0, 1.0, 0.0]])
    forecast = model.get_prediction(at)
    quantiles = np.array([0.1, 0.5, 0.9])
    t = stats.t.ppf(quantiles, model.df_resid)
    expected = forecast.predicted_mean[:, None] + forecast.se_mean[:, None] * t
    found = lasting_rise(fit, [[20.0, 30.0]], probabilities=quantiles)[0]
    np.testing.assert_allclose(found, expected, atol=2e-4)
    expected = forecast.predicted_mean[:, None] + forecast.se_obs[:, None] * t
    found = lasting_rise(fit, [[20.0, 30.0]], probabilities=quantiles, predictive=True)[0]
    np.testing.assert_allclose(found, expected, atol=2e-4)
    parts = components(fit)
    np.testing.assert_allclose(parts["moisture_slope"], model.params[2], atol=1e-6)
    np.testing.assert_allclose(parts["origin_rise_mm"], model.params[0], atol=1e-4)
    # the variance of a Student t with 5 degrees of freedom is 5/3 of its scale's square
    variance = fit.coefficients()[1][0]
    np.testing.assert_allclose(variance, 5 / 3 * model.bse[[0, 2]] ** 2, rtol=1e-3)
    np.testing.assert_allclose(parts["moisture_slope_sd"] ** 2, variance[1])


def test_recovers_what_made_the_readings():
    rng = np.random.default_rng(5)
    age = np.sort(rng.uniform(0.0, 40.0, (1, 400)), axis=1)
    offset = rng.normal(0.0, 1.5, age.shape)
    rise = -1.0 + 2.5 * (age / 30.0) ** 0.45 + 0.25 * offset + rng.normal(0.0, 0.15, age.shape)
    fit = fit_lift(age, rise, offset, np.ones_like(age))
    parts = components(fit)
    assert parts["moisture_slope"][0] == pytest.approx(0.25, abs=0.02)
    assert parts["noise_mm"][0] == pytest.approx(0.15, abs=0.02)
    wide = (0.005, 0.5, 0.995)
    early, likely, late = lasting_rise(fit, [[30.0]], probabilities=wide)[0, 0]
    assert early < 1.5 < late
    assert likely == pytest.approx(1.5, abs=0.05)
    # the limit 1.5 mm is reached at 30 years: −1.0 + 2.5
    early, likely, late = crossing(fit, [1.5], horizon_age_years=[100.0], probabilities=wide)[0]
    assert early < 30.0 < late
    assert late - early < 6.0


def test_the_season_comes_off_again():
    # Wood that lags the air: a season of 0.15 mm that the humidity at the reading does not show.
    rng = np.random.default_rng(9)
    age = np.sort(rng.uniform(2.0, 12.0, (1, 200)), axis=1)
    offset = 2.0 * np.sin(2.0 * np.pi * age)
    season = 0.2 * offset - 0.15 * np.cos(2.0 * np.pi * age)
    lasting = -1.0 + 2.0 * (age / 30.0) ** 0.45
    rise = lasting + season + rng.normal(0.0, 0.1, age.shape)
    fit = fit_lift(age, rise, offset, 0.0 * age + 1.0, prior=LiftPrior(season_sd_mm=SEASON_SD_MM))
    np.testing.assert_allclose(seasonal_part(fit, age, offset), season, atol=0.06)
    unread = seasonal_part(fit, age, np.nan * offset)
    np.testing.assert_array_equal(unread, seasonal_part(fit, age, 0.0 * offset))
    with pytest.raises(ValueError, match=r"age_years must have shape \(1, k\), got \(200,\)"):
        seasonal_part(fit, age[0], offset[0])
    none = fit_lift(AGE, np.nan * RISE, OFFSET, ONES)
    assert np.isnan(seasonal_part(none, AGE, OFFSET)).all()


def test_a_spread_is_given_from_more_than_two_degrees_of_freedom():
    # A Student t has a variance where its degrees of freedom are more than 2, and none below: here twice
    # the prior's shape and one reading.
    for shape, known in ((0.4, False), (0.6, True), (1.0, True)):
        prior = LiftPrior(noise_shape=shape)
        parts = components(fit_lift([[10.0]], [[0.3]], [[0.0]], [[1.0]], prior=prior))
        assert np.isfinite(parts["moisture_slope_sd"])[0] == known


def test_what_is_thought_before_any_reading_adds_up():
    for prior in (LiftPrior(), LiftPrior(log_rate_mean=np.array([0.0, 2.0]), log_rate_sd=0.3)):
        np.testing.assert_allclose(np.exp(prior.log_weight()).sum(axis=(1, 2)), 1.0)
    # the season is left out until a fleet has taught it
    assert [len(part) for part in LiftPrior().coefficients()] == [2, 2]


def test_assumed_ages_stand_for_a_normal_one():
    # The three-point Gauss–Hermite rule (Abramowitz & Stegun, 25.4.46 and table 25.10, from memory) has
    # the moments of the standard normal up to the fifth: 1, 0, 1, 0, 3, 0.
    moments = [(AGE_NODE_WEIGHTS * AGE_NODES**k).sum() for k in range(6)]
    np.testing.assert_allclose(moments, [1.0, 0.0, 1.0, 0.0, 3.0, 0.0], atol=1e-12)


def test_one_reading_keeps_the_prior_and_its_own_height():
    fit = fit_lift([[10.0]], [[0.3]], [[0.0]], [[1.0]])
    median = np.exp(np.interp(0.5, np.cumsum(fit.weight[0].sum(axis=(0, 1))), np.log(fit.rates_mm)))
    assert 1.0 < median < 2.6  # planning default 1.6 mm per 30 years
    low, likely, high = lasting_rise(fit, [[10.0]])[0, 0]
    assert likely == pytest.approx(0.3, abs=0.1)
    assert 0.2 < high - low < 1.5
    wide = lasting_rise(fit, [[40.0]])[0, 0]
    assert wide[2] - wide[0] > 2.0 * (high - low)


def test_unknown_humidity_counts_for_less():
    known = fit_lift(AGE, RISE, 0.0 * OFFSET, ONES)
    unknown = fit_lift(AGE, RISE, np.full_like(OFFSET, np.nan), ONES)
    np.testing.assert_allclose(unknown.reading_factor, 1.0)
    width = [np.diff(lasting_rise(f, [[20.0]])[0, 0, [0, 2]])[0] for f in (known, unknown)]
    assert width[1] > 1.15 * width[0]
    # extra variance (0.20² + 0.10²)·1.5² of the season beside 0.2² of the gauge: planning defaults
    weight = 0.04 / (0.04 + 0.05 * 2.25)
    same = fit_lift(AGE, RISE, 0.0 * OFFSET, weight * ONES)
    np.testing.assert_allclose(unknown.weight, same.weight)


def test_unknown_build_year_widens_the_outlook():
    # Three readings, the last at 5 stated years: shifts clip at the origin.
    age, rise, offset = AGE[:, :3], RISE[:, :3], OFFSET[:, :3]
    limit = [RISE[0, 2] + 0.3]
    dates = []
    for sd in (0.0, 3.0, 6.0):
        fit = fit_lift(age + 20.0, rise, offset, ONES[:, :3], age_sd_years=[sd])
        assert fit.weight.shape[1] == (1 if sd == 0 else 3)
        np.testing.assert_allclose(fit.weight.sum(), 1.0)
        dates.append(crossing(fit, limit, horizon_age_years=[400.0])[0])
    widths = [np.log(d[2] - 25.0) - np.log(d[0] - 25.0) for d in dates]
    assert widths[0] < widths[2]
    # an s.d. of nothing is a known age
    tiny = fit_lift(age + 20.0, rise, offset, ONES[:, :3], age_sd_years=[1e-9])
    np.testing.assert_allclose(
        crossing(tiny, limit, horizon_age_years=[400.0])[0],
        dates[0],
        rtol=5e-4,  # three times the cells, and so other ones that are negligible
    )


def test_known_and_unknown_ages_in_one_batch():
    two = (np.repeat(a, 2, axis=0) for a in (AGE, RISE, OFFSET, ONES))
    both = fit_lift(*two, age_sd_years=[0.0, 4.0])
    known = fit_lift(AGE, RISE, OFFSET, ONES)
    np.testing.assert_allclose(both.weight[0, 1], known.weight[0, 0])
    assert both.weight[0, [0, 2]].sum() == 0.0
    found = crossing(both, [1.0, 1.0], horizon_age_years=[100.0, 100.0])
    alone = crossing(known, [1.0], horizon_age_years=[100.0])
    np.testing.assert_allclose(found[0], alone[0], atol=1e-3)


@pytest.mark.parametrize("index", [0, 3, 7])
@pytest.mark.parametrize("error_mm", [-4.0, 2.5])
def test_one_misread_gauge_does_not_capture_the_fit(index, error_mm):
    rise = RISE.copy()
    rise[0, index] += error_mm
    clean = lasting_rise(fit_lift(AGE, RISE, OFFSET, ONES), [[14.0]])[0, 0]
    held = fit_lift(AGE, rise, OFFSET, ONES)
    plain = fit_lift(AGE, rise, OFFSET, ONES, robust=False)
    assert held.reading_factor[0, index] < 0.1
    assert (np.delete(held.reading_factor[0], index) > 0.8).all()
    moved = abs(lasting_rise(held, [[14.0]])[0, 0, 1] - clean[1])
    assert moved < 0.12
    assert (plain.reading_factor == 1.0).all()
    assert abs(lasting_rise(plain, [[14.0]])[0, 0, 1] - clean[1]) > 1.5 * moved


def test_good_readings_are_left_alone():
    fit = fit_lift(AGE, RISE, OFFSET, ONES)
    plain = fit_lift(AGE, RISE, OFFSET, ONES, robust=False)
    np.testing.assert_allclose(fit.weight, plain.weight)
    np.testing.assert_allclose(fit.reading_factor, 1.0)


def test_surprise_scores_mean_what_they_say():
    # Readings drawn from the model itself: the scores must then be standard normal.
    rng = np.random.default_rng(2)
    n, m = 4000, 5
    prior = LiftPrior()
    variance = 3.0 * 0.04 / rng.gamma(3.0, size=n)
    sd = np.sqrt(variance)[:, None]
    rate = np.exp(prior.log_rate_mean + prior.log_rate_sd * rng.normal(size=(n, 1)))
    exponent = rng.choice(prior.exponents, size=(n, 1))
    age = rng.uniform(0.0, 30.0, (n, m))
    offset = rng.normal(0.0, 1.5, (n, m))
    origin = -2.0 + 10.0 * sd * rng.normal(size=(n, 1))
    slope = 0.2 + 0.5 * sd * rng.normal(size=(n, 1))
    rise = origin + rate * (age / 30.0) ** exponent + slope * offset
    rise += sd * rng.normal(size=(n, m))
    before = fit_lift(age[:, :-1], rise[:, :-1], offset[:, :-1], np.ones((n, m - 1)), robust=False)
    score = surprise(before, age[:, -1], rise[:, -1], offset[:, -1])
    assert stats.kstest(score, "norm").pvalue > 0.01
    assert np.mean(np.abs(score) > 3.0) < 0.006  # 0.0027 expected


def test_a_jump_is_a_surprise_and_keeps_its_sign():
    fit = fit_lift(AGE, RISE, OFFSET, ONES)
    expected = -1.5 + 2.0 * (15.0 / 30.0) ** 0.45
    fine, up, down, wild = (
        surprise(fit, [15.0], [expected + jump], [0.0])[0] for jump in (0.0, 1.5, -1.5, 60.0)
    )
    assert abs(fine) < 1.0
    assert up > 3.0
    assert down < -3.0
    assert np.isfinite(wild)
    assert wild > up
    assert np.isnan(surprise(fit, [15.0], [np.nan], [0.0])[0])


def test_instruments_without_readings_give_nan_and_a_flag():
    age = np.vstack([AGE, AGE, AGE])
    weight = np.vstack([ONES, 0.0 * ONES, ONES])
    rise = np.vstack([RISE, RISE, np.full_like(RISE, np.nan)])
    fit = fit_lift(age, rise, np.vstack([OFFSET] * 3), weight)
    assert fit.usable.tolist() == [True, False, False]
    found = crossing(fit, np.zeros(3), horizon_age_years=np.full(3, 80.0))
    assert np.isfinite(found[0]).all()
    assert np.isnan(found[1:]).all()
    assert np.isnan(lasting_rise(fit, np.ones((3, 2)))[1:]).all()
    assert np.isnan(crossing_probability(fit, np.ones(3), np.ones(3))[1:]).all()
    assert np.isnan(surprise(fit, np.ones(3), np.ones(3), np.zeros(3))[1:]).all()
    for value in components(fit).values():
        assert np.isfinite(value[0])
        assert np.isnan(value[1:]).all()


def test_readings_at_age_zero_and_on_one_day():
    fit = fit_lift([[0.0, 0.0, 5.0, 5.0]], [[-1.0, -1.1, 0.0, 0.1]], [[0.0] * 4], [[1.0] * 4])
    assert np.isfinite(crossing(fit, [0.5], horizon_age_years=[60.0])).all()


def test_empty_batch():
    empty = np.empty((0, 3))
    fit = fit_lift(empty, empty, empty, empty)
    assert len(fit) == 0
    assert crossing(fit, np.empty(0), horizon_age_years=np.empty(0)).shape == (0, 3)
    assert all(len(value) == 0 for value in components(fit).values())


def test_one_prior_per_instrument():
    slow, fast = LiftPrior(log_rate_mean=np.log(0.6)), LiftPrior(log_rate_mean=np.log(3.0))
    both = replace(slow, log_rate_mean=np.log([0.6, 3.0]), log_rate_sd=np.array([0.8, 0.8]))
    readings = (AGE[:, :1], RISE[:, :1], OFFSET[:, :1], ONES[:, :1])
    fit = fit_lift(*(np.repeat(a, 2, axis=0) for a in readings), prior=both, chunk=1)
    for i, prior in enumerate((slow, fast)):
        np.testing.assert_allclose(fit.weight[i], fit_lift(*readings, prior=prior).weight[0])


def example_fit(age, rise, offset, weight, **keywords):
    fit = fit_lift(age, rise, offset, weight, **keywords)
    n = len(fit)
    return fit, crossing(fit, np.full(n, 1.2), horizon_age_years=np.full(n, 90.0))


@settings(max_examples=30, deadline=None)
@given(order=st.permutations(range(8)), filler=st.floats(-1e3, 1e3))
def test_order_and_padding_change_nothing(order, filler):
    fit, dates = example_fit(AGE, RISE, OFFSET, ONES)
    padding = np.full((1, 3), filler)
    columns = [np.hstack([a[:, list(order)], padding]) for a in (AGE, RISE, OFFSET)]
    weight = np.hstack([ONES, np.zeros((1, 3))])
    again, same = example_fit(*columns, weight)
    np.testing.assert_allclose(again.weight, fit.weight, atol=1e-9)
    np.testing.assert_allclose(same, dates, atol=1e-3)
    np.testing.assert_allclose(again.reading_factor[0, :8], fit.reading_factor[0, list(order)])
    assert (again.reading_factor[0, 8:] == 0.0).all()


@settings(max_examples=30, deadline=None)
@given(shift=st.floats(-20.0, 20.0))
def test_a_shift_of_readings_and_limit_shifts_nothing(shift):
    prior = LiftPrior(origin_rise_sd_mm=np.inf)
    horizon = {"horizon_age_years": [90.0]}
    here = crossing(fit_lift(AGE, RISE, OFFSET, ONES, prior=prior), [1.2], **horizon)
    moved = fit_lift(AGE, RISE + shift, OFFSET, ONES, prior=prior)
    there = crossing(moved, [1.2 + shift], **horizon)
    np.testing.assert_allclose(there, here, atol=2e-3)


@settings(max_examples=20, deadline=None)
@given(chunk=st.integers(1, 9), count=st.integers(1, 8))
def test_a_row_of_a_batch_is_the_instrument_alone(chunk, count):
    rng = np.random.default_rng(count)
    age = rng.uniform(0.0, 30.0, (count, 5))
    rise = rng.normal(0.0, 1.0, (count, 5))
    offset = rng.normal(0.0, 1.5, (count, 5))
    weight = rng.integers(0, 2, (count, 5)).astype(float)
    fit, dates = example_fit(age, rise, offset, weight, chunk=chunk)
    for i in range(count):
        row = slice(i, i + 1)
        alone, date = example_fit(age[row], rise[row], offset[row], weight[row])
        np.testing.assert_allclose(fit.weight[row], alone.weight, atol=1e-12)
        np.testing.assert_allclose(dates[row], date, atol=1e-3)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"age_years": AGE[0]}, r"age_years must have shape \(N, m\), got \(8,\)"),
        ({"rise_mm": RISE[:, :3]}, r"rise_mm must have shape \(1, 8\), got \(1, 3\)"),
        ({"weight": -ONES}, "weight must be 0 or more, got -1"),
        ({"weight": np.nan * ONES}, "weight must be 0 or more, got nan"),
        ({"age_years": AGE - 3.0}, r"age_years must be 0 or more, got -1"),
        ({"age_years": np.nan * AGE}, "age_years must be 0 or more, got nan"),
        ({"rise_mm": np.inf * ONES}, "rise_mm must be a finite number or missing, got inf"),
        (
            {"moisture_offset_pct": -np.inf * ONES},
            "moisture_offset_pct must be a finite number or missing, got -inf",
        ),
        ({"age_sd_years": [-1.0]}, "age_sd_years must be 0 or more, got -1"),
        ({"age_sd_years": [1.0, 2.0]}, r"age_sd_years must have shape \(1,\), got \(2,\)"),
        ({"chunk": 0}, "chunk must be at least 1, got 0"),
        (
            {"prior": LiftPrior(log_rate_mean=np.zeros(3))},
            r"log_rate_mean must be one value or 1, got shape \(3,\)",
        ),
    ],
)
def test_refuses(arguments, message):
    good = {"age_years": AGE, "rise_mm": RISE, "moisture_offset_pct": OFFSET, "weight": ONES}
    with pytest.raises(ValueError, match=message):
        fit_lift(**(good | arguments))


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"log_rate_sd": 0.0}, "log_rate_sd must be positive, got 0.0"),
        ({"noise_mm": np.nan}, "noise_mm must be positive, got nan"),
        ({"rates_mm": (1.0, -1.0)}, r"rates_mm must be a row of positive numbers"),
        ({"exponents": ()}, "exponents must be a row of positive numbers"),
        ({"exponent_weights": (1.0,)}, "exponent_weights must be 5 weights"),
        ({"exponent_weights": (0.0,) * 5}, "exponent_weights must be weights"),
        ({"exponent_weights": (-0.1, 0.4, 0.3, 0.2, 0.2)}, "exponent_weights must be weights"),
        ({"noise_shape": -1.0}, "noise_shape must not be negative, got -1.0"),
    ],
)
def test_prior_refuses(fields, message):
    with pytest.raises(ValueError, match=message):
        LiftPrior(**fields)


def test_surprise_refuses():
    fit = fit_lift(AGE, RISE, OFFSET, ONES)
    with pytest.raises(ValueError, match=r"age_years must be 0 or more, got -1"):
        surprise(fit, [-1.0], [0.0], [0.0])
    with pytest.raises(ValueError, match=r"rise_mm must have shape \(1,\), got \(2,\)"):
        surprise(fit, [1.0], [0.0, 1.0], [0.0])
    with pytest.raises(ValueError, match=r"weight must be more than 0, got 0"):
        surprise(fit, [1.0], [0.0], [0.0], 0.0)


@pytest.mark.parametrize("count", [5, 6])
def test_a_wild_reading_is_not_judged_by_the_scatter_that_it_makes(count):
    # 0.8 mm is four times a reading's own 0.2 mm, but less than three times what it makes of five
    # readings' scatter, by which it would hide itself.
    age, rise, offset = AGE[:, :count], RISE[:, :count].copy(), OFFSET[:, :count]
    rise[0, count // 2] += 0.8
    factor = fit_lift(age, rise, offset, ONES[:, :count]).reading_factor[0]
    assert factor[count // 2] < 0.1
    assert (np.delete(factor, count // 2) > 0.9).all()


def test_among_fewer_than_four_readings_none_is_called_wild():
    for ages, rises in (([20.0, 22.0], [0.0, 1.0]), ([20.0, 22.0, 24.0], [0.0, 0.2, 1.0])):
        age, rise = np.array([ages]), np.array([rises])
        fit = fit_lift(age, rise, 0.0 * age, 0.0 * age + 1.0)
        assert (fit.reading_factor == 1.0).all()
    wild = np.array([[0.0, 0.1, 0.15, 3.0, 0.25, 0.3]])
    age = np.linspace(15.0, 25.0, 6)[None]
    factor = fit_lift(age, wild, 0.0 * age, 0.0 * age + 1.0).reading_factor[0]
    assert factor[3] < 0.1
    assert (np.delete(factor, 3) > 0.9).all()
