"""When a line or a mixture of laws reaches a limit."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from geometry.crossing import GUESS_BINS, ORIGIN_YEARS, _guess
from geometry.lift import LiftPrior, crossing, crossing_probability, fit_lift, lasting_rise
from geometry.lift_mixture import (
    _fast_student_cdf,
    mixture_of,
    solve_increasing,
    student_cdf,
)
from geometry.linear import nig_fit
from tests.geometry.reference_files import REFERENCE, rows

ONE_LINE = LiftPrior(
    exponents=(1.0,),
    exponent_weights=(1.0,),
    log_rate_sd=np.inf,
    origin_rise_sd_mm=np.inf,
    noise_shape=0.0,
    season_sd_mm=0.0,
    rates_mm=tuple(np.linspace(0.0, 12.0, 4001)[1:]),
)


def line_crossings(x, y, level, probabilities, bounds, of_a_reading=False):
    """Where P(line at t ≥ level) reaches each probability: Fieller's limits, by the lift's solver."""
    x = np.asarray(x, dtype=float)
    fit = nig_fit(np.stack([np.ones_like(x), x], axis=-1)[None], np.asarray(y, dtype=float)[None])

    def chance(t, live):
        mean, mean_se, reading_se = fit.predict(np.stack([np.ones_like(t), t], axis=-1))
        se = reading_se if of_a_reading else mean_se
        return student_cdf(fit.dof, (mean - level) / se)[0]

    q = np.asarray(probabilities, dtype=float)
    low, high = (np.full(len(q), b) for b in bounds)
    return solve_increasing(chance, q, low, high, 1e-9)


# Graybill & Iyer, Regression Analysis, ch. 6, pp. 431 and 433.
@pytest.mark.parametrize("index", [0, 1, 2])
def test_published_inverse_predictions(index):
    example = json.loads((REFERENCE / "03l_inverse_prediction_examples.json").read_text())[
        "examples"
    ][index]
    tail = (1.0 - example["level"]) / 2.0
    x = example["data"]["x"]
    found = line_crossings(
        x,
        example["data"]["y"],
        example["y0"],
        (tail, 0.5, 1.0 - tail),
        (min(x), max(x)),
        of_a_reading=not example["mean_response"],
    )
    for value, name in zip(found, ("lower", "estimate", "upper"), strict=True):
        printed = str(example["published"][name])
        assert abs(value - float(printed)) <= 0.51 * 10.0 ** -len(printed.partition(".")[2])
        # computed with scipy's t quantiles from the closed form, see the file
        assert value == pytest.approx(example["computed"][name], abs=1e-6)


def gaas_units():
    readings = rows("03a_gaas_laser_degradation.csv")
    projections = rows("03b_gaas_laser_projection.csv")
    units = [p["unit"] for p in projections]
    hours = np.array([[float(r["hours"]) for r in readings if r["unit"] == u] for u in units])
    rise = np.array(
        [[float(r["percent_increase"]) for r in readings if r["unit"] == u] for u in units]
    )
    return hours, rise, projections


def test_gaas_laser_lines_cross_ten_per_cent():
    # Meeker & Escobar, Statistical Methods for Reliability Data, 1998, example 13.10: the
    # published hours are from memory; Fieller limits computed apart (see the file).
    hours, rise, projections = gaas_units()
    for x, y, row in zip(hours, rise, projections, strict=True):
        early, likely, late = line_crossings(x, y, 10.0, (0.025, 0.5, 0.975), (0.0, 20000.0))
        assert likely == pytest.approx(float(row["published_hours"]), abs=0.5)
        assert likely == pytest.approx(float(row["crossing_hours"]), abs=0.01)
        assert early == pytest.approx(float(row["fieller95_lo_mean"]), abs=0.01)
        assert late == pytest.approx(float(row["fieller95_hi_mean"]), abs=0.01)


def test_gaas_laser_through_the_lift_model():
    # One exponent of 1 and flat priors make the grid of rates an integral over the slope: the lift
    # model must give the same crossing and the same Fieller limits. Hours / 100 stand for years;
    # the slope is 4.5 to 9.1 % per 3000 h.
    hours, rise, projections = gaas_units()
    fit = fit_lift(
        hours / 100.0, rise, 0.0 * rise, np.ones_like(rise), prior=ONE_LINE, robust=False
    )
    found = 100.0 * crossing(
        fit,
        np.full(15, 10.0),
        horizon_age_years=np.full(15, 200.0),
        probabilities=(0.025, 0.5, 0.975),
    )
    published = np.array([float(row["published_hours"]) for row in projections])
    np.testing.assert_allclose(found[:, 1], published, atol=0.6)
    for column, name in ((0, "fieller95_lo_mean"), (2, "fieller95_hi_mean")):
        limits = [float(row[name]) for row in projections]
        np.testing.assert_allclose(found[:, column], limits, atol=0.6)


@pytest.mark.parametrize("dof", [1.0, 3.5, 6.0, 6.3, 9.0, 40.0])
def test_student_distribution_function(dof):
    x = np.linspace(-15.0, 15.0, 301)
    np.testing.assert_allclose(student_cdf(dof, x), stats.t.cdf(x, dof), atol=5e-8)


def test_student_distribution_function_of_nobody():
    assert student_cdf(np.empty(0), np.empty(0)).shape == (0,)


@pytest.mark.parametrize("dof", [6.0, 7.5, 12.0, 60.0])
def test_fast_distribution_function(dof):
    x = np.concatenate([np.linspace(-12.0, 12.0, 997), [0.0, 1e-4, -1e-6]]).astype(np.float32)
    found = _fast_student_cdf(x[:, None], np.array([dof]))[:, 0]
    assert found.dtype == np.float32
    np.testing.assert_allclose(found, stats.t.cdf(x.astype(float), dof), atol=2.5e-6)


@pytest.fixture(scope="module")
def fleet():
    rng = np.random.default_rng(7)
    n, m = 40, 6
    age = rng.uniform(0.0, 25.0, (n, 1)) + np.sort(rng.uniform(0.0, 10.0, (n, m)), axis=1)
    rate = 1.6 * np.exp(0.8 * rng.normal(size=(n, 1)))
    rise = -2.0 + rate * (age / 30.0) ** 0.5 + rng.normal(0.0, 0.2, (n, m))
    fit = fit_lift(age, rise, rng.normal(0.0, 1.5, (n, m)), np.ones((n, m)))
    return fit, age, rise


def test_ages_returned_have_the_chances_asked_for(fleet):
    fit, age, rise = fleet
    limit = rise[:, -1] + 0.8
    horizon = age[:, -1] + 60.0
    wanted = (0.1, 0.5, 0.9)
    found = crossing(fit, limit, horizon_age_years=horizon, probabilities=wanted)
    assert np.isfinite(found).any(axis=0).all()
    assert np.isnan(found).any()
    for j, q in enumerate(wanted):
        inside = np.isfinite(found[:, j])
        beyond = crossing_probability(fit, limit, horizon)[~inside]
        assert (beyond < q).all()
        # ages to 1e-3 years, which the text promises
        below = crossing_probability(fit, limit, np.where(inside, found[:, j] - 1e-3, 0.0))
        above = crossing_probability(fit, limit, np.where(inside, found[:, j] + 1e-3, 0.0))
        assert (below[inside] < q).all()
        assert (above[inside] > q).all()
    shown = found[np.isfinite(found).all(axis=1)]
    assert (np.diff(shown, axis=1) > 0).all()


def test_the_first_guess_is_within_a_bin(fleet):
    # So few steps are left to make: cells are narrow beside the bins that their crossings are put in.
    fit, age, rise = fleet
    limit, wanted = rise[:, -1] + 0.8, np.array([0.1, 0.5, 0.9])
    low, high = np.full(len(fit), np.log(ORIGIN_YEARS)), np.log(age[:, -1] + 60.0)
    limited = mixture_of(fit, fast=True).less(limit)
    guesses, early, late = _guess(limited, low, high, wanted)
    found = crossing(fit, limit, horizon_age_years=np.exp(high))
    inside = np.isfinite(found)
    width = ((high - low) / GUESS_BINS)[:, None] + np.zeros(3)
    assert (np.abs(guesses - np.log(np.where(inside, found, 1.0)))[inside] < width[inside]).all()
    off = np.abs(guesses - np.log(np.where(inside, found, 1.0))) / width
    assert np.median(off[inside]) < 0.2
    # whoever may have crossed at the origin, or not by the horizon, is looked at there
    assert set(np.flatnonzero(crossing_probability(fit, limit, 0.0) >= 0.1)) <= set(early)
    assert set(np.flatnonzero(~inside.all(axis=1))) <= set(late)


def test_many_are_done_in_single_precision_if_their_law_allows(fleet):
    fit, _, _ = fleet  # 6 readings and a prior worth 6: 12 degrees of freedom
    weak = fit_lift([[3.0]], [[0.1]], [[0.0]], [[1.0]], prior=LiftPrior(noise_shape=1.0))  # 3
    for of, fast, kind in (
        (fit, True, np.float32),
        (fit, False, np.float64),
        (weak, True, np.float64),
    ):
        assert mixture_of(of, fast=fast).weight.dtype == kind


def test_crossing_and_band_are_two_views_of_one_mixture(fleet):
    fit, age, _ = fleet
    ages = age[:, -1:] + np.array([0.0, 5.0, 30.0])
    band = lasting_rise(fit, ages)
    assert (np.diff(band, axis=2) > 0).all()
    for k in range(3):
        for j, q in enumerate((0.1, 0.5, 0.9)):
            # the lasting rise is below its q quantile with chance q, so has crossed it with chance
            # 1 − q
            chance = crossing_probability(fit, band[:, k, j], ages[:, k])
            np.testing.assert_allclose(chance, 1.0 - q, atol=2e-4)
    wide = lasting_rise(fit, ages, predictive=True)
    now = 0  # where the forecast is not yet wider than a reading's scatter
    assert (wide[:, now, 2] - wide[:, now, 0] > 1.2 * (band[:, now, 2] - band[:, now, 0])).all()


def test_several_limits_and_single_rows_agree(fleet):
    fit, age, rise = fleet
    limits = np.stack([rise[:, -1] + 0.5, rise[:, -1] + 2.0], axis=1)
    horizon = age[:, -1] + 60.0
    both = crossing(fit, limits, horizon_age_years=horizon)
    assert both.shape == (40, 2, 3)
    for k in range(2):
        one = crossing(fit, limits[:, k], horizon_age_years=horizon)
        np.testing.assert_allclose(both[:, k], one, atol=1e-3)
    for i in (0, 17, 39):
        alone = crossing(
            fit.take(slice(i, i + 1)), limits[i : i + 1], horizon_age_years=horizon[i : i + 1]
        )
        np.testing.assert_allclose(alone[0], both[i], atol=1e-3)


def test_already_beyond_and_never(fleet):
    fit, _, _ = fleet
    n = len(fit)
    found = crossing(
        fit, np.tile([-30.0, 500.0, np.nan], (n, 1)), horizon_age_years=np.full(n, 80.0)
    )
    assert (found[:, 0] == 0.0).all()
    assert np.isnan(found[:, 1:]).all()


@settings(max_examples=40, deadline=None)
@given(low=st.floats(-3.0, 3.0), step=st.floats(0.05, 3.0))
def test_a_higher_limit_is_reached_later(fleet, low, step):
    fit, _, _ = fleet
    n = len(fit)
    found = crossing(fit, np.tile([low, low + step], (n, 1)), horizon_age_years=np.full(n, 100.0))
    first, second = (np.where(np.isnan(found[:, k]), np.inf, found[:, k]) for k in range(2))
    assert (second >= first - 1e-3).all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda f: crossing(f, [1.0], horizon_age_years=[9.0]),
            r"limit_mm must have shape \(40,\)",
        ),
        (
            lambda f: crossing(f, np.ones(40), horizon_age_years=np.zeros(40)),
            "horizon_age_years must be more than 0, got 0",
        ),
        (
            lambda f: crossing(f, np.ones(40), horizon_age_years=9.0, probabilities=(0.5, 1.0)),
            "probabilities must lie between 0 and 1",
        ),
        (
            lambda f: crossing_probability(f, np.ones(40), np.full(40, -1.0)),
            "age_years must be 0 or more, got -1",
        ),
        (lambda f: lasting_rise(f, np.ones(40)), r"age_years must have shape \(40, k\)"),
        (lambda f: lasting_rise(f, -np.ones((40, 1))), "age_years must be 0 or more"),
    ],
)
def test_refuses(fleet, call, message):
    with pytest.raises(ValueError, match=message):
        call(fleet[0])


def test_a_limit_that_is_not_known_is_never_dated():
    fit = fit_lift([[3.0, 9.0]], [[0.1, 0.3]], [[0.0, 0.0]], [[1.0, 1.0]])
    ages = crossing(fit, [[np.nan, np.nan]], horizon_age_years=[60.0])
    assert ages.shape == (1, 2, 3)
    assert np.isnan(ages).all()


def test_without_a_tolerance_the_solver_ends_at_its_best():
    # the root of the normal law's median, asked for more exactly than numbers can say
    root = solve_increasing(
        lambda x, live: stats.norm.cdf(x - 0.3), np.array([0.5]), np.zeros(1), np.ones(1), 0.0
    )
    assert root == pytest.approx([0.3], abs=1e-9)


def test_a_flat_prior_on_the_season_needs_a_humidity_somewhere():
    flat = LiftPrior(moisture_slope_sd=np.inf, season_sd_mm=0.0)
    age, rise, weight = [[2.0, 6.0, 12.0, 20.0]], [[0.2, 0.4, 0.5, 0.7]], [[1.0] * 4]
    some = fit_lift(age, rise, [[0.3, -0.4, 0.1, np.nan]], weight, prior=flat)
    none = fit_lift(age, rise, [[np.nan] * 4], weight, prior=flat)
    early, likely, late = crossing(some, [0.9], horizon_age_years=[200.0])[0]
    assert early < likely < late
    assert not none.usable.any()
    assert np.isnan(crossing(none, [0.9], horizon_age_years=[200.0])).all()
