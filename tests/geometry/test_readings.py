import math

import numpy as np
import pytest

from geometry.action import action_at_fret
from geometry.readings import (
    Joint,
    Readings,
    Targets,
    complete,
    saddle_height_on_line,
    two_sided,
)
from tests.geometry.setups import NECK, NUT, consistent

NAN = math.nan


def test_readings_taken_stay_as_they_are():
    readings = consistent(0.4, (3.0, 2.2))
    whole = complete(NECK, readings, Targets())
    for name in ("action_1_mm", "action_12_mm", "saddle_mm", "bridge_rise_mm", "relief_mm"):
        np.testing.assert_array_equal(getattr(whole, name), getattr(readings, name))
    assert all(np.all(where) for where in whole.measured.values())


def test_relief_not_measured_is_the_middle_of_its_window():
    whole = complete(NECK, Readings(NUT, (2.4, 1.9), (3.0, 2.2), 0.4), Targets())
    assert whole.relief_mm == pytest.approx(0.20)  # window 0.10 to 0.30, common practice
    assert not whole.measured["relief"]


def test_fret_1_not_measured_is_its_target():
    whole = complete(NECK, Readings((NAN, 0.4), (2.4, 1.9), (3.0, 2.2), 0.4, 0.2), Targets())
    np.testing.assert_allclose(whole.action_1_mm, [0.58, 0.4])


def test_fret_12_not_measured_is_predicted_from_readings_alone():
    readings = consistent(0.4, (3.0, 2.2))
    without = Readings(NUT, (NAN, NAN), (3.0, 2.2), 0.4, 0.2)
    np.testing.assert_allclose(
        complete(NECK, without, Targets()).action_12_mm, readings.action_12_mm
    )
    # Never from an assumed nut: that would be a guess upon a guess.
    guess = Readings((NAN, 0.33), (NAN, NAN), (3.0, 2.2), 0.4, 0.2)
    assert list(np.isnan(complete(NECK, guess, Targets()).action_12_mm)) == [True, False]


def test_a_saddle_not_measured_is_what_the_others_imply():
    full = consistent(0.4, (3.0, 2.2))
    without = Readings(NUT, full.action_12_mm, (NAN, NAN), 0.4, 0.2)
    whole = complete(NECK, without, Targets())
    np.testing.assert_allclose(whole.saddle_mm, [3.0, 2.2])
    assert not whole.as_built.any()


@pytest.mark.parametrize("implied", [0.5, 6.0])
def test_a_saddle_that_could_not_be_is_taken_as_built(implied):
    # "Neck resets", Acoustic Guitar magazine: 0.8 to 4.8 mm tolerated, about 3.2 mm as built.
    full = consistent(0.4, (implied, 3.0))
    without = Readings(NUT, full.action_12_mm, (NAN, 3.0), 0.4, 0.2)
    whole = complete(NECK, without, Targets())
    np.testing.assert_allclose(whole.saddle_mm, [3.2, 3.0])
    assert list(whole.as_built) == [True, False]


def test_the_line_through_two_actions_is_the_strings_own():
    readings = consistent(0.4, (3.0, 2.2))
    height = saddle_height_on_line(
        NECK, action_1_mm=NUT, action_12_mm=readings.action_12_mm, relief_mm=0.2
    )
    np.testing.assert_allclose(height, [3.4, 2.6])


def test_a_fleet_is_filled_in_row_by_row():
    pairs = np.array([[NAN, 0.3], [0.5, 0.4]])
    fleet = Readings(
        pairs, [[2.4, 1.9], [NAN, 2.0]], [[3.0, NAN], [2.5, 2.5]], [0.4, 1], [NAN, 0.3]
    )
    whole = complete(NECK, fleet, Targets())
    for i in range(2):
        row = Readings(
            *(
                np.asarray(getattr(fleet, f))[i]
                for f in ("action_1_mm", "action_12_mm", "saddle_mm")
            ),
            np.asarray(fleet.bridge_rise_mm)[i],
            np.asarray(fleet.relief_mm)[i],
        )
        one = complete(NECK, row, Targets())
        np.testing.assert_allclose(whole.action_1_mm[i], one.action_1_mm)
        np.testing.assert_allclose(whole.action_12_mm[i], one.action_12_mm)
        np.testing.assert_allclose(whole.saddle_mm[i], one.saddle_mm)
        np.testing.assert_allclose(whole.relief_mm[i], one.relief_mm)


@pytest.mark.parametrize("radius", [None, 406.4])
def test_a_neck_widened_for_two_sides_is_the_same_neck(radius):
    neck = type(NECK)(645.2, 2.5, 14, radius)
    readings = {"action_1_mm": 0.5, "bridge_rise_mm": 0.4, "saddle_mm": 3.0, "relief_mm": 0.2}
    wide = action_at_fret(two_sided(neck), 12, **readings)
    np.testing.assert_allclose(wide, [action_at_fret(neck, 12, **readings)])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: Readings((0.5, -0.1), (2, 2), (3, 3), 0),
            "action_1_mm must be between 0 and 50, got -0.1",
        ),
        (lambda: Readings(0.5, (2, 2), (3, 3), 0), "action_1_mm must hold bass and treble"),
        (lambda: Readings((1, 1), (2, 2, 2), (3, 3), 0), "action_12_mm must hold bass and treble"),
        (
            lambda: Readings((1, 1), (2, 2), (3, 3), 51),
            "bridge_rise_mm must be between -50 and 50, got 51",
        ),
        (
            lambda: Readings((1, 1), (2, 2), (3, 3), 0, math.inf),
            "relief_mm must be between -50 and 50, got inf",
        ),
        (
            lambda: Targets(action_12_mm=(2.0, NAN)),
            "action_12_mm must be between 0 and 50, got nan",
        ),
        (lambda: Targets(action_12_mm=2.0), "action_12_mm must hold bass and treble"),
        (lambda: Targets(saddle_floor_mm=-1), "saddle_floor_mm must be between 0 and 50, got -1"),
        (
            lambda: Targets(saddle_floor_mm=5.0),
            "saddle_ceiling_mm must be between 5 and 50, got 4.8",
        ),
        (
            lambda: Targets(action_tolerance_mm=0.0),
            "action_tolerance_mm must be between 0.025 and 50, got 0",
        ),
        (
            lambda: Targets(relief_window_mm=(0.3, 0.1)),
            "relief_window_mm must run from low to high, got 0.3 to 0.1",
        ),
        (
            lambda: Joint("hinged"),
            "kind must be one of glued, bolted, shimmed, tilting, got 'hinged'",
        ),
        (lambda: Joint(pivot_x_mm=0.0), "pivot_x_mm must be more than 0, got 0"),
        (lambda: Joint(bolt_arm_mm=1.0), "bolt_arm_mm must be between 10 and 300, got 1"),
        (lambda: Joint(thread_pitch_mm=9.0), "thread_pitch_mm must be between 0.2 and 5, got 9"),
        (lambda: Joint(turn_step=0.0), "turn_step must be between 0.0625 and 1, got 0"),
        (lambda: Joint(shims_mm=(0.5, 14.0)), "shims_mm must be between 0 and 10, got 14"),
        (lambda: Joint(pivot_depth_mm=-1.0), "pivot_depth_mm must be 0 or more, got -1"),
        (lambda: Joint(tilt_max_deg=11.0), "tilt_max_deg must be between -10 and 10, got 11"),
        (
            lambda: Joint(tilt_min_deg=1.0),
            "tilt_min_deg must not be above tilt_max_deg, got 1 and 0",
        ),
    ],
)
def test_it_refuses_what_cannot_be(call, message):
    with pytest.raises(ValueError, match=message):
        call()
