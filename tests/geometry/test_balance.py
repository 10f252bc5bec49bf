import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.action import Neck, action_at_fret
from geometry.balance import (
    GaugeUncertainty,
    Suspect,
    balance,
    prediction_u,
    sensitivity,
    suspects,
)
from tests.geometry.setups import NECK

READ = {
    "action_1_mm": np.array([0.58, 0.33]),
    "bridge_rise_mm": 0.4,
    "saddle_mm": np.array([3.0, 2.2]),
    "relief_mm": 0.2,
}
TRUE_12 = action_at_fret(NECK, 12, **READ)


def suspects_of(**changed):
    return suspects(NECK, **({"action_12_mm": TRUE_12} | READ | changed))


def test_readings_that_agree_balance():
    found = balance(NECK, action_12_mm=TRUE_12, **READ)
    np.testing.assert_allclose(found.balance_mm, 0.0, atol=1e-12)
    assert not found.contradicts.any()
    assert suspects_of() == ()


def test_uncertainty_of_a_balance_by_hand():
    # GUM 5.1 by hand, flat neck of 650 mm, 12-fret joint (no relief at fret 12): fret 12 at 1/2
    # and fret 1 at 0.056126 of the string. Saddle and bridge weigh (0.5 - k)/(1 - k) = 0.470268,
    # the nut 0.5/(1 - k) = 0.529732.
    flat = Neck(650.0, 0.0, 12)
    weights = sensitivity(flat)
    assert weights.saddle == weights.bridge_rise == pytest.approx(0.470268, abs=1e-6)
    assert weights.action_1 == pytest.approx(0.529732, abs=1e-6)
    assert weights.relief == 0.0
    gauges = GaugeUncertainty(0.03, 0.10, 0.10, 0.20, 0.03)
    by_hand = math.sqrt((0.529732 * 0.03) ** 2 + 0.470268**2 * (0.10**2 + 0.20**2))
    assert prediction_u(flat, gauges) == pytest.approx(by_hand, abs=1e-6)
    readings = {"action_1_mm": 0.5, "bridge_rise_mm": 0.4, "saddle_mm": 3.0, "relief_mm": 0.2}
    found = balance(flat, action_12_mm=2.0, uncertainty=gauges, **readings)
    assert found.u_mm == pytest.approx(math.hypot(0.10, by_hand), abs=1e-6)


@given(
    st.sampled_from(["action_1", "saddle", "bridge_rise", "relief"]),
    st.floats(-1, 1),
)
def test_the_weights_are_the_models_own_slopes(name, change):
    weight = getattr(sensitivity(NECK), name)
    moved = action_at_fret(NECK, 12, **READ | {f"{name}_mm": READ[f"{name}_mm"] + change})
    np.testing.assert_allclose(moved - TRUE_12, weight * change, atol=1e-12)


def test_three_standard_uncertainties_are_the_limit():
    u = balance(NECK, action_12_mm=TRUE_12, **READ).u_mm
    assert not balance(NECK, action_12_mm=TRUE_12 + 2.99 * u, **READ).contradicts.any()
    assert balance(NECK, action_12_mm=TRUE_12 - 3.01 * u, **READ).contradicts.all()


def test_a_missing_reading_contradicts_nothing():
    found = balance(NECK, action_12_mm=[math.nan, 9.0], **READ)
    assert np.isnan(found.balance_mm[0])
    assert list(found.contradicts) == [False, True]


def test_a_slipped_decimal_point_is_found():
    bass = float(np.round(TRUE_12[0], 1))
    (suspect,) = suspects_of(action_12_mm=[bass / 10, TRUE_12[1]])
    assert suspect == Suspect("action_12_bass", pytest.approx(bass), "decimal point")


def test_swapped_sides_are_found():
    first, *_ = suspects_of(action_12_mm=TRUE_12[::-1])
    assert first == Suspect("action_12_swapped", pytest.approx(TRUE_12[0]), "swapped")


def test_inches_typed_as_millimetres_are_found():
    (suspect,) = suspects_of(action_12_mm=[TRUE_12[0] / 25.4, TRUE_12[1]])
    assert suspect == Suspect("action_12_bass", pytest.approx(TRUE_12[0]), "unit")


def test_millimetres_typed_as_inches_are_found():
    found = suspects_of(saddle_mm=[3.0, 2.2 * 25.4])
    assert Suspect("saddle_treble", pytest.approx(2.2), "unit") in found


def test_a_lost_sign_is_found():
    true = READ | {"bridge_rise_mm": -1.0}
    found = suspects_of(bridge_rise_mm=1.0, action_12_mm=action_at_fret(NECK, 12, **true))
    assert found[0] == Suspect("bridge_rise", -1.0, "sign")


def test_a_plain_misreading_says_what_it_should_read():
    found = {s.name: s for s in suspects_of(saddle_mm=[4.6, 2.2])}
    assert found["saddle_bass"] == Suspect("saddle_bass", pytest.approx(3.0), "")
    assert not any(name.endswith("treble") for name in found)


def test_a_shared_reading_explains_both_sides():
    true = READ | {"bridge_rise_mm": 2.6}
    found = suspects_of(action_12_mm=action_at_fret(NECK, 12, **true))
    assert [s for s in found if s.name == "bridge_rise"] == [
        Suspect("bridge_rise", pytest.approx(2.6), "")
    ]
    # Nothing on one side alone can explain both, and the relief would have to be impossible.
    assert [s.name for s in found] == ["bridge_rise"]


def test_two_wrong_readings_leave_no_single_suspect():
    assert suspects_of(action_12_mm=TRUE_12 + np.array([1.5, -1.5])) == ()


def test_a_side_without_a_reading_is_no_suspect():
    found = suspects_of(action_12_mm=[TRUE_12[0] + 1.0, math.nan])
    assert {s.name for s in found} >= {"action_12_bass"}
    assert not any(s.name.endswith(("treble", "swapped")) for s in found)


def test_it_refuses_what_cannot_be():
    with pytest.raises(ValueError, match=r"saddle_mm must be 0 or more, got -0\.1"):
        GaugeUncertainty(saddle_mm=-0.1)
    with pytest.raises(ValueError, match="action_12_mm must be a finite number or missing"):
        balance(NECK, action_12_mm=math.inf, **READ)
