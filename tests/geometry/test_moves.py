import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.joint import bolt_travel
from geometry.moves import settable_cut, settings_of, tilt_left
from geometry.readings import Joint, Targets
from tests.geometry.setups import any_shimmed, any_targets, any_tilting


def test_turns_run_to_the_limit_and_no_further():
    # By hand: 70 mm of arm and 2° is 70 sin 2° = 2.443 mm, 2.375 turns of M6 in eighths.
    joint = Joint("tilting", bolt_arm_mm=70.0, thread_pitch_mm=1.0, tilt_max_deg=2.0)
    settings = settings_of(joint)
    np.testing.assert_allclose(settings.turns, np.arange(20) / 8)
    assert settings.shim_mm is None
    assert settings.at(8).turns == 1.0
    assert settings.at(8).tilt_deg == pytest.approx(0.8185, abs=5e-5)  # asin(1/70)


def test_a_joint_that_goes_both_ways_has_turns_both_ways():
    joint = Joint(
        "tilting",
        bolt_arm_mm=70.0,
        thread_pitch_mm=1.0,
        tilt_now_deg=0.5,
        tilt_max_deg=1.0,
        one_way=False,
    )
    # By hand: half a degree either way is 0.611 mm, 4 eighths.
    np.testing.assert_allclose(settings_of(joint).turns, np.arange(-4, 5) / 8)


def test_a_learnt_gain_makes_each_turn_count_for_more():
    plain = Joint("tilting", bolt_arm_mm=70.0, thread_pitch_mm=1.0, tilt_max_deg=2.0)
    keen = Joint("tilting", bolt_arm_mm=70.0, thread_pitch_mm=1.0, tilt_max_deg=2.0, rise_gain=1.25)
    assert settings_of(keen).tilt_deg[1] == pytest.approx(
        1.25 * settings_of(plain).tilt_deg[1], rel=1e-5
    )
    assert len(settings_of(keen).turns) < len(settings_of(plain).turns)


def test_a_bolt_without_its_measures_can_only_stay():
    settings = settings_of(Joint("tilting", tilt_max_deg=2.0))
    assert list(settings.tilt_deg) == [0.0]


def test_shims_are_those_in_stock():
    joint = Joint("shimmed", shims_mm=(0.25, 0.75), shim_now_mm=0.5, heel_depth_mm=90.0)
    assert list(settings_of(joint).shim_mm) == [0.75, 0.5]  # one-way: no thinner one
    both = Joint(
        "shimmed", shims_mm=(0.25, 0.75), shim_now_mm=0.5, heel_depth_mm=90.0, one_way=False
    )
    assert list(settings_of(both).shim_mm) == [0.25, 0.75, 0.5]
    # By hand: a quarter of a millimetre over 90 mm is 0.159°.
    np.testing.assert_allclose(settings_of(both).tilt_deg, [-0.159, 0.159, 0.0], atol=5e-4)


@pytest.mark.parametrize(
    ("joint", "left"),
    [
        (Joint("glued"), 0.0),
        (Joint("bolted"), 0.0),
        (Joint("tilting", tilt_now_deg=0.5, tilt_max_deg=2.0), 1.5),
        (Joint("tilting", tilt_now_deg=3.0, tilt_max_deg=2.0), 0.0),
        (Joint("shimmed"), 0.0),
        (Joint("shimmed", shims_mm=(0.25,), shim_now_mm=0.5), 0.0),
        (Joint("shimmed", shims_mm=(1.0,)), 0.6366),  # atan(1/90), by hand
    ],
)
def test_travel_left(joint, left):
    assert tilt_left(joint) == pytest.approx(left, abs=5e-5)


@given(any_tilting)
def test_no_turn_goes_past_the_travel(joint):
    settings = settings_of(joint)
    after = joint.tilt_now_deg + settings.tilt_deg
    # A joint found past a limit may come back, but goes no further.
    assert np.all(after <= max(joint.tilt_max_deg, joint.tilt_now_deg) + 1e-6)
    assert np.all(after >= min(joint.tilt_min_deg, joint.tilt_now_deg) - 1e-6)
    assert 0.0 in settings.tilt_deg
    assert not joint.one_way or np.all(settings.tilt_deg >= 0)
    if joint.bolt_arm_mm is not None:
        travel = bolt_travel(
            settings.tilt_deg, joint.bolt_arm_mm / joint.rise_gain, joint.tilt_now_deg
        )
        np.testing.assert_allclose(travel, settings.turns * joint.thread_pitch_mm, atol=1e-9)
        np.testing.assert_allclose(settings.turns / joint.turn_step % 1.0, 0.0, atol=1e-9)


def test_a_shim_that_no_neck_could_take_is_not_offered():
    # atan(10/30) is 18.4°: thick stock on a short heel is wedge wood, not a setting of the joint.
    joint = Joint("shimmed", shims_mm=(0.5, 10.0), heel_depth_mm=30.0)
    assert settings_of(joint).shim_mm.tolist() == [0.5, 0.0]
    assert tilt_left(joint) == pytest.approx(np.degrees(np.arctan(0.5 / 30.0)))


@given(any_shimmed)
def test_no_shim_is_invented(joint):
    settings = settings_of(joint)
    assert set(settings.shim_mm) <= {*joint.shims_mm, joint.shim_now_mm}
    assert not joint.one_way or np.all(settings.tilt_deg >= 0)


@pytest.mark.parametrize(
    ("wanted", "saddle", "cut"),
    [
        (0.42, 3.0, 0.40),
        (0.43, 3.0, 0.45),
        (-0.42, 3.0, -0.40),
        (2.0, 3.0, 1.40),  # the floor of 1.6 mm (common practice) stops it
        (0.5, 1.63, 0.0),
        (-0.01, 3.0, 0.0),
        (0.5, 1.2, 0.0),  # already below: nothing more comes off
        (-3.0, 3.0, -1.80),  # the ceiling of 4.8 mm stops it
        (-1.0, 5.0, 0.0),
    ],
)
def test_a_saddle_is_cut_in_steps_between_its_limits(wanted, saddle, cut):
    found = settable_cut(wanted, saddle, Targets())
    assert found == pytest.approx(cut, abs=1e-12)
    assert np.signbit(found) == (cut < 0)  # no "−0" on a page


@given(st.floats(-20, 20), st.floats(0, 12), any_targets)
def test_no_cut_goes_past_a_limit(wanted, saddle, targets):
    cut = settable_cut(wanted, saddle, targets)
    after = saddle - cut
    assert after >= min(saddle, targets.saddle_floor_mm) - 1e-8
    assert after <= max(saddle, targets.saddle_ceiling_mm) + 1e-8
    assert cut / 0.05 == pytest.approx(round(float(cut) / 0.05), abs=1e-6)
