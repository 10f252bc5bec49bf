"""The conjugate regression against published least-squares results."""

import json

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from geometry.linear import nig_fit, project
from tests.geometry.reference_files import REFERENCE


def read(name):
    return json.loads((REFERENCE / name).read_text())


@pytest.mark.parametrize(
    ("name", "constant", "tolerance"),
    [
        # NIST/ITL Statistical Reference Datasets, linear regression: certified values.
        ("norris", True, 1e-9),
        ("noint1", False, 1e-12),
        ("longley", True, 1e-7),
    ],
)
def test_certified_estimates_and_standard_errors(name, constant, tolerance):
    dataset = read(f"02_nist_strd_{name}.json")
    data = np.array(dataset["data"], dtype=float)
    x = data[:, 1:]
    if constant:
        x = np.column_stack([np.ones(len(x)), x])
    fit = nig_fit(x[None], data[None, :, 0])
    certified = dataset["certified"]
    np.testing.assert_allclose(fit.coefficients[0], certified["b"], rtol=tolerance)
    np.testing.assert_allclose(fit.standard_errors[0], certified["se"], rtol=tolerance)
    np.testing.assert_allclose(fit.residual_sd, certified["s"], rtol=tolerance)
    np.testing.assert_allclose(fit.sum_of_squares, certified["rss"], rtol=tolerance)
    assert fit.dof == certified["df"]


def test_gum_thermometer_calibration():
    # JCGM 100:2008 (GUM), annex H.3, table H.6 and equations H.12 to H.15.
    # s = 0.0035 °C is from memory.
    example = read("04_gum_h3_thermometer.json")
    t = np.array(example["thermometer_reading_c"]) - example["t0_c"]
    fit = nig_fit(np.stack([np.ones_like(t), t], axis=-1)[None], [example["observed_correction_c"]])
    (y1, y2), (u1, u2) = fit.coefficients[0], fit.standard_errors[0]
    assert round(y1, 4) == -0.1712
    assert round(u1, 4) == 0.0029
    assert round(y2, 5) == 0.00218
    assert round(u2, 5) == 0.00067
    assert round(fit.residual_sd[0], 4) == 0.0035
    covariance = fit.covariance[0]
    correlation = covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1])
    assert round(correlation, 2) == -0.93
    mean, mean_se, reading_se = fit.predict([[1.0, 30.0 - example["t0_c"]]])
    assert round(mean[0, 0], 4) == -0.1494
    assert round(mean_se[0, 0], 4) == 0.0041
    np.testing.assert_allclose(reading_se**2 - mean_se**2, fit.residual_sd[:, None] ** 2)


def test_matches_weighted_least_squares_of_statsmodels():
    rng = np.random.default_rng(20)
    x = np.concatenate([np.ones((6, 9, 1)), rng.normal(5.0, 2.0, (6, 9, 2))], axis=2)
    y = rng.normal(size=(6, 9))
    w = rng.uniform(0.2, 3.0, (6, 9))
    w[2, 5:] = 0.0
    fit = nig_fit(x, y, w)
    at = rng.normal(size=(4, 3))
    mean, mean_se, reading_se = fit.predict(at)
    for i in range(6):
        used = w[i] > 0
        model = sm.WLS(y[i, used], x[i, used], weights=w[i, used]).fit()
        np.testing.assert_allclose(fit.coefficients[i], model.params, rtol=1e-9)
        np.testing.assert_allclose(fit.standard_errors[i], model.bse, rtol=1e-9)
        np.testing.assert_allclose(fit.residual_sd[i], np.sqrt(model.scale), rtol=1e-9)
        assert fit.dof[i] == model.df_resid
        forecast = model.get_prediction(at)
        np.testing.assert_allclose(mean[i], forecast.predicted_mean, rtol=1e-9)
        np.testing.assert_allclose(mean_se[i], forecast.se_mean, rtol=1e-9)
        np.testing.assert_allclose(reading_se[i], forecast.se_obs, rtol=1e-9)


def test_prior_is_a_reading_of_its_precision():
    # A normal prior of variance σ²/precision on one mean is precision readings at the prior's mean.
    y = np.array([[1.0, 2.0, 6.0]])
    fit = nig_fit(np.ones((1, 3, 1)), y, prior_mean=[-2.0], prior_precision=[2.0])
    np.testing.assert_allclose(fit.coefficients, [[(1.0 + 2.0 + 6.0 - 2.0 * 2.0) / 5.0]])
    np.testing.assert_allclose(fit.covariance, [[[1.0 / 5.0]]])
    fit = nig_fit(np.ones((1, 3, 1)), y, prior_mean=[3.0], prior_precision=[1e12], prior_shape=0.0)
    # Held at 3: squares 4 + 1 + 9 about it, 3 degrees of freedom.
    np.testing.assert_allclose(fit.residual_sd, [np.sqrt(14.0 / 3.0)], rtol=1e-9)


def test_inverse_gamma_prior_of_the_scatter():
    # Conjugate update: shape + n/2, scale + squares/2 (textbook, from memory).
    fit = nig_fit(
        np.ones((1, 2, 1)),
        [[1.0, -1.0]],
        prior_mean=[0.0],
        prior_precision=[1e15],
        prior_shape=3.0,
        prior_scale=3.0 * 0.04,
    )
    np.testing.assert_allclose(fit.dof, [8.0])
    np.testing.assert_allclose(fit.residual_sd**2, [(0.12 + 1.0) / 4.0], rtol=1e-9)


def test_collinear_regressors_give_nan_and_leave_others_alone():
    x = np.ones((2, 4, 2))
    x[1, :, 1] = [0.0, 1.0, 2.0, 3.0]
    fit = nig_fit(x, np.array([[1.0, 2.0, 3.0, 4.0]] * 2))
    assert np.isnan(fit.coefficients[0]).any()
    np.testing.assert_allclose(fit.coefficients[1], [1.0, 1.0])


def test_residuals_of_a_combination_are_the_combination_of_residuals():
    # The lift fit leans on this: y − βg is reduced by reducing y and g once.
    rng = np.random.default_rng(3)
    x, responses, w = rng.normal(size=(2, 7, 4)), rng.normal(size=(2, 7, 4)), rng.random((7, 4))
    precision, mean = np.array([0.5, 2.0]), np.array([[1.0, 0.0], [-1.0, 0.0]])
    both = project(x, responses, w, precision, mean)
    beta = 1.7
    mixed = project(x, responses[:1] - beta * responses[1:], w, precision, mean[:, :1])
    np.testing.assert_allclose(
        both.coefficients[:, :, 0] - beta * both.coefficients[:, :, 1], mixed.coefficients[:, :, 0]
    )
    squares = (
        both.cross(0, 0) - 2 * beta * both.cross(0, 1) + beta**2 * both.squares(slice(1, 2))[:, 0]
    )
    np.testing.assert_allclose(squares, mixed.cross(0, 0))
    np.testing.assert_allclose(both.cross(0, slice(1, None))[:, 0], both.cross(0, 1))


def test_three_points_leave_one_degree_of_freedom():
    # By hand: (0, 0), (1, 1), (2, 1) give 1/6 + x/2, residuals -1/6, 1/3, -1/6, sum of squares 1/6.
    fit = nig_fit([[[1.0, 0.0], [1.0, 1.0], [1.0, 2.0]]], [[0.0, 1.0, 1.0]])
    np.testing.assert_allclose(fit.coefficients, [[1 / 6, 1 / 2]])
    assert fit.dof == 1
    np.testing.assert_allclose(fit.residual_sd, (1 / 6) ** 0.5)


@settings(max_examples=50, deadline=None)
@given(order=st.permutations(range(6)), filler=st.floats(-1e6, 1e6))
def test_order_and_padding_change_nothing(order, filler):
    rng = np.random.default_rng(11)
    x, y = rng.normal(size=(1, 6, 2)), rng.normal(size=(1, 6))
    fit = nig_fit(x, y)
    padded_x = np.concatenate([x[:, list(order)], np.full((1, 2, 2), filler)], axis=1)
    padded_y = np.concatenate([y[:, list(order)], np.full((1, 2), np.nan)], axis=1)
    again = nig_fit(padded_x, padded_y, [[1.0] * 6 + [0.0] * 2])
    np.testing.assert_allclose(again.coefficients, fit.coefficients, rtol=1e-11, atol=1e-13)
    np.testing.assert_allclose(again.residual_sd, fit.residual_sd, rtol=1e-11)
    assert again.dof == fit.dof


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"regressors": np.ones((3, 2))}, r"regressors must have shape \(N, m, p\)"),
        ({"response": np.ones((1, 2))}, r"response must have shape \(1, 3\)"),
        ({"weight": [[1.0, 1.0]]}, r"weight must have shape \(1, 3\)"),
        ({"weight": [[1.0, -1.0, 1.0]]}, "weight must be 0 or more, got -1"),
        ({"weight": [[1.0, np.nan, 1.0]]}, "weight must be 0 or more, got nan"),
        ({"response": [[1.0, np.inf, 1.0]]}, "response must be a finite number, got inf"),
        ({"regressors": np.full((1, 3, 1), np.nan)}, "regressors must be a finite number, got nan"),
        ({"prior_precision": [-1.0]}, "prior_precision must be 0 or more, got -1"),
        ({"prior_mean": [1.0, 2.0]}, r"prior_mean must have shape \(1,\)"),
        ({"prior_mean": [np.nan]}, "prior_mean must be a finite number"),
    ],
)
def test_refuses(arguments, message):
    good = {"regressors": np.ones((1, 3, 1)), "response": np.ones((1, 3))}
    with pytest.raises(ValueError, match=message):
        nig_fit(**(good | arguments))


def test_predict_refuses_other_regressors():
    fit = nig_fit(np.ones((1, 3, 1)), [[1.0, 2.0, 3.0]])
    with pytest.raises(ValueError, match="regressors must have 1 on the last axis"):
        fit.predict([[1.0, 2.0]])
