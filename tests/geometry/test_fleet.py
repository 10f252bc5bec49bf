"""The prior that a shop's own instruments teach."""

import json
from dataclasses import asdict, replace

import numpy as np
import pytest

from geometry.constants import SEASON_SD_MM, SMALLEST_GROUP, TELLING_READINGS
from geometry.fleet import FleetPrior, _lessons, fleet_prior, learn_prior
from geometry.lift import LiftPrior, crossing, fit_lift
from geometry.lift_model import regressors


def shop(seed, count, rate, *, noise=0.2, readings=5, spread=0.5, prior=None):
    """Fits of instruments drawn from the model itself, rising at about ``rate`` mm in 30 years."""
    rng = np.random.default_rng(seed)
    prior = prior or LiftPrior()
    rates = rate * np.exp(spread * rng.normal(size=(count, 1)))
    exponent = rng.choice(prior.exponents, size=(count, 1))
    age = rng.uniform(0.0, 20.0, (count, 1)) + rng.uniform(0.0, 12.0, (count, readings))
    offset = rng.normal(0.0, 1.5, age.shape)
    # the conjugate prior: a gauge's own scatter, and coefficients in proportion to it
    relative = np.sqrt(prior.noise_shape / rng.gamma(prior.noise_shape, size=(count, 1)))
    mean, sd = prior.coefficients()
    coefficients = mean + sd * relative * rng.normal(size=(count, len(mean)))
    rise = np.einsum("rnm,nr->nm", regressors(age, offset, prior), coefficients)
    rise += rates * (age / 30.0) ** exponent + noise * relative * rng.normal(size=age.shape)
    return age, rise, offset, np.ones_like(age)


def values(prior):
    return prior.log_rate_mean, prior.log_rate_sd, prior.exponent_weights, prior.noise_mm


@pytest.mark.parametrize("factor", [0.4, 1.0, 2.2])
def test_learns_how_fast_its_instruments_rise(factor):
    learnt = fleet_prior(fit_lift(*shop(4, 400, 1.6 * factor), robust=False))
    assert learnt.instruments == 400
    assert np.exp(learnt.shop.log_rate_mean) == pytest.approx(1.6 * factor, rel=0.15)
    # slow lift is lost in the noise, so a slow shop's spread stays near the default 0.8; both widened by 15 %
    assert 0.5 * 1.1 < learnt.shop.log_rate_sd < 0.8 * 1.15
    assert learnt.shop.noise_mm == pytest.approx(0.2, rel=0.1)


def test_learns_how_steady_its_gauges_are():
    for noise in (0.1, 0.4):
        readings = shop(5, 300, 1.6, noise=noise, readings=20)
        learnt = learn_prior(
            lambda prior, readings=readings: fit_lift(*readings, prior=prior, robust=False),
            rounds=4,
        )
        assert learnt.shop.noise_mm == pytest.approx(noise, rel=0.1)


def test_learns_its_own_origin_moisture_and_season():
    made = LiftPrior(
        origin_rise_mean_mm=-3.0,
        origin_rise_sd_mm=1.0,
        moisture_slope_mean=0.1,
        moisture_slope_sd=0.05,
        season_sd_mm=0.2,
    )
    readings = shop(13, 300, 1.6, readings=12, prior=made)
    learnt = learn_prior(
        lambda prior: fit_lift(*readings, prior=prior, robust=False), rounds=4
    ).shop
    assert learnt.origin_rise_mean_mm == pytest.approx(-3.0, abs=0.25)
    # told apart from the lift only slowly: on its way from 2.0
    assert 0.8 < learnt.origin_rise_sd_mm < 1.4
    assert learnt.moisture_slope_mean == pytest.approx(0.1, abs=0.02)
    assert learnt.moisture_slope_sd == pytest.approx(0.05, abs=0.03)
    assert learnt.season_sd_mm == pytest.approx(0.2, abs=0.03)


def test_flat_and_absent_terms_stay_so():
    prior = LiftPrior(origin_rise_sd_mm=np.inf, season_sd_mm=0.0)
    learnt = fleet_prior(fit_lift(*shop(14, 40, 1.6), prior=prior), prior=prior).shop
    assert learnt.origin_rise_sd_mm == np.inf
    assert learnt.season_sd_mm == 0.0


def test_a_reading_of_no_weight_says_nothing_of_any_law():
    # Likelihood is what readings say beyond the prior: without any it is the same for every law.
    unsaid = fit_lift([[10.0]], [[0.3]], [[0.0]], [[1e-12]])
    np.testing.assert_allclose(_lessons(unsaid, LiftPrior())[0], 1.0, rtol=1e-5)


def test_short_histories_teach_no_coefficients():
    # A prior's own weight is not counted as readings: three each are fewer than the four that tell.
    learnt = fleet_prior(fit_lift(*shop(16, 30, 1.6, readings=TELLING_READINGS - 1))).shop
    for name in ("origin_rise_mean_mm", "origin_rise_sd_mm", "moisture_slope_mean"):
        assert getattr(learnt, name) == pytest.approx(getattr(LiftPrior(), name))
    assert learnt.moisture_slope_sd == pytest.approx(LiftPrior().moisture_slope_sd)
    told = fleet_prior(fit_lift(*shop(16, 30, 1.6, readings=TELLING_READINGS))).shop
    assert told.moisture_slope_sd != pytest.approx(LiftPrior().moisture_slope_sd)


def test_an_instrument_with_one_reading_profits():
    # A shop whose instruments rise at 0.4 times the planning default: the true median rate dates
    # later.
    slow = shop(6, 300, 0.64)
    learnt = fleet_prior(fit_lift(*slow))
    one = [[10.0]], [[0.0]], [[0.0]], [[1.0]]
    dates = np.concatenate(
        [
            crossing(fit_lift(*one, prior=prior), [0.3], horizon_age_years=[500.0])
            for prior in (LiftPrior(), learnt.shop)
        ]
    )
    assert dates[1, 1] > 1.4 * dates[0, 1]


def test_a_few_instruments_do_not_jump_to_conclusions():
    default = LiftPrior()
    one = fleet_prior(fit_lift(*shop(7, 1, 8.0, readings=12))).shop
    many = fleet_prior(fit_lift(*shop(7, 200, 8.0, readings=12))).shop
    start, few, full = (p.log_rate_mean for p in (default, one, many))
    assert start < few < start + 0.4 * (full - start)


def test_no_instruments_leave_the_defaults():
    empty = np.empty((0, 3))
    none = fit_lift(*[empty] * 4)
    blank = fit_lift([[1.0]], [[np.nan]], [[0.0]], [[1.0]])
    for fits in ([], none, blank, [none, blank]):
        learnt = fleet_prior(fits)
        assert learnt == FleetPrior(shop=LiftPrior(), groups={}, counts={}, instruments=0)


def test_groups_go_their_own_way_and_small_ones_follow_the_shop():
    start = LiftPrior(season_sd_mm=SEASON_SD_MM)
    sizes = ((8, 150, 0.8), (9, 60, 3.2), (10, SMALLEST_GROUP - 1, 3.2))
    parts = [shop(*size, prior=start) for size in sizes]
    readings = [np.concatenate(columns) for columns in zip(*parts, strict=True)]
    labels = ["spruce"] * 150 + ["cedar"] * 60 + ["rare"] * (SMALLEST_GROUP - 1)
    labels[0] = None
    learnt = fleet_prior(fit_lift(*readings, prior=start), labels, prior=start)
    assert learnt.counts == {"spruce": 149, "cedar": 60, "rare": SMALLEST_GROUP - 1}
    assert set(learnt.groups) == {"spruce", "cedar"}
    spruce, cedar = (learnt.groups[label].log_rate_mean for label in ("spruce", "cedar"))
    assert spruce < learnt.shop.log_rate_mean < cedar
    # drawn towards the shop, so inside what each was made with
    assert np.log(0.8) - 0.1 < spruce < np.log(1.1)
    assert np.log(2.2) < cedar < np.log(3.2) + 0.1
    rows = learnt.prior_for(["cedar", "rare", None, "spruce"])
    expected = [cedar, learnt.shop.log_rate_mean, learnt.shop.log_rate_mean, spruce]
    np.testing.assert_allclose(rows.log_rate_mean, expected)
    assert rows.exponent_weights.shape == (4, 5)
    assert learnt.prior_for([]) == learnt.shop
    four = [column[:4] for column in readings]
    fit = fit_lift(*four, prior=rows)
    alone = fit_lift(*[c[:1] for c in four], prior=learnt.groups["cedar"])
    np.testing.assert_allclose(fit.weight[0], alone.weight[0])


@pytest.mark.parametrize("rounds", [1, 2])
def test_groups_are_learnt_in_the_last_round(rounds):
    readings = shop(17, 2 * SMALLEST_GROUP, 1.6)
    labels = ["spruce", "cedar"] * SMALLEST_GROUP
    learnt = learn_prior(lambda prior: fit_lift(*readings, prior=prior), labels, rounds=rounds)
    assert learnt.counts == {"spruce": SMALLEST_GROUP, "cedar": SMALLEST_GROUP}
    assert set(learnt.groups) == {"spruce", "cedar"}


def test_chunks_and_order_change_nothing():
    readings = shop(11, 60, 1.6)
    labels = ["a", "b"] * 30
    whole = fleet_prior(fit_lift(*readings), labels)
    pieces = (
        fit_lift(*[column[rows] for column in readings]) for rows in np.split(np.arange(60), 4)
    )
    chunked = fleet_prior(pieces, labels)
    backwards = fleet_prior(fit_lift(*[column[::-1] for column in readings]), labels[::-1])
    for other in (chunked, backwards):
        for prior, same in ((whole.shop, other.shop), (whole.groups["a"], other.groups["a"])):
            for value, again in zip(values(prior), values(same), strict=True):
                np.testing.assert_allclose(again, value, rtol=1e-4)


def test_a_prior_survives_being_stored():
    prior = fleet_prior(fit_lift(*shop(15, 20, 1.6))).shop
    back = LiftPrior(**json.loads(json.dumps(asdict(prior))))
    again = fleet_prior(fit_lift(*shop(15, 20, 1.6), prior=back), prior=back).shop
    direct = fleet_prior(fit_lift(*shop(15, 20, 1.6), prior=prior), prior=prior).shop
    assert again == direct


def test_refuses():
    fit = fit_lift(*shop(12, 3, 1.6))
    with pytest.raises(ValueError, match="groups must be 3 labels, got 2"):
        fleet_prior(fit, ["a", "b"])
    with pytest.raises(ValueError, match="rounds must be at least 1, got 0"):
        learn_prior(lambda prior: fit, rounds=0)
    other = replace(LiftPrior(), exponents=(0.5,), exponent_weights=(1.0,))
    with pytest.raises(ValueError, match="fits must have the exponents and rates of the prior"):
        fleet_prior(fit, prior=other)
