import dataclasses

import numpy as np
import pytest
from hypothesis import given

from geometry.action import action_at_fret, reach, rise_limit
from geometry.balance import GaugeUncertainty
from geometry.joint import heel_wedge, rise_after_tilt
from geometry.options import Bench, lay_out, recommend
from geometry.readings import Joint, Targets, complete, two_sided
from tests.geometry.setups import (
    NECK,
    NUT,
    SHIMMED,
    TILTING,
    any_joint,
    any_targets,
    consistent,
    for_error,
    height_readings,
)

FRETS = (1, 7, 12, 14)
PIVOT = {"pivot_to_saddle_mm": float(NECK.saddle_line_mm - NECK.joint_mm), "pivot_depth_mm": 12.0}
BOTH_WAYS = Joint(
    "tilting",
    bolt_arm_mm=70.0,
    thread_pitch_mm=1.0,
    tilt_now_deg=1.0,
    tilt_max_deg=2.0,
    one_way=False,
)


def bench_of(readings, joint=None, targets=None, frets=FRETS) -> Bench:
    targets = targets or Targets()
    set_up = complete(NECK, readings, targets)
    return Bench(two_sided(NECK), set_up, targets, joint or Joint(), frets, GaugeUncertainty())


def options_of(readings, joint=None, targets=None):
    return {option.key: option for option in lay_out(bench_of(readings, joint, targets))}


def recommended(readings, joint=None, targets=None):
    bench = bench_of(readings, joint, targets)
    return recommend(bench, lay_out(bench))


@pytest.mark.parametrize(
    ("joint", "keys"),
    [
        (Joint("glued"), ["leave", "saddle", "reset"]),
        (Joint("bolted"), ["leave", "saddle", "reset"]),
        (SHIMMED, ["leave", "tilt", "tilt_and_saddle", "saddle", "reset"]),
        (TILTING, ["leave", "tilt", "tilt_and_saddle", "saddle", "reset"]),
    ],
)
def test_every_option_that_applies_is_laid_out(joint, keys):
    assert list(options_of(for_error(0.5), joint)) == keys


def test_leaving_it_leads_to_what_was_read():
    readings = consistent(0.4, (3.0, 2.2))
    leave = options_of(readings)["leave"]
    now = action_at_fret(
        NECK,
        np.array(FRETS)[:, None],
        action_1_mm=NUT,
        bridge_rise_mm=0.4,
        saddle_mm=(3.0, 2.2),
        relief_mm=0.2,
    )
    np.testing.assert_allclose(leave.action_after_mm, now)
    np.testing.assert_allclose(leave.action_12_after_mm, readings.action_12_mm)
    assert leave.amount_u_mm == pytest.approx(0.10)  # the gauge's own
    assert leave.cautions == ()


def test_the_saddle_goes_down_by_twice_the_error():
    # "How To Adjust String Height at the Bridge", Acoustic Guitar magazine, 2013: two to one;
    # with compensation it is 2.008, which a step of 0.05 mm does not show.
    saddle = options_of(for_error((0.4, 0.2)))["saddle"]
    np.testing.assert_allclose(saddle.saddle_cut_mm, [0.8, 0.4])
    np.testing.assert_allclose(saddle.saddle_after_mm, [2.2, 2.6])
    assert saddle.feasible
    assert saddle.cautions == ("slacken", "eyes", "dust", "remeasure")
    # The gauge at fret 12 and, by half, the one at the saddle.
    assert saddle.amount_u_mm == pytest.approx(0.112, abs=5e-4)


def test_results_are_those_of_the_rounded_cut():
    readings = for_error((0.41, 0.41))
    saddle = options_of(readings)["saddle"]
    np.testing.assert_allclose(saddle.saddle_cut_mm, 0.8)
    moved = -0.8 * float(reach(NECK, 12))
    np.testing.assert_allclose(saddle.action_12_after_mm, np.asarray(readings.action_12_mm) + moved)
    # Fret 12 is the third of the set frets; fret 1 goes along by its share, 0.056.
    np.testing.assert_allclose(saddle.action_after_mm[2], saddle.action_12_after_mm)
    np.testing.assert_allclose(saddle.action_after_mm[0], np.array(NUT) - 0.8 * 0.05591, atol=1e-4)


def test_the_floor_stops_the_saddle():
    saddle = options_of(for_error(0.5, saddle=(2.0, 3.0)))["saddle"]
    assert not saddle.feasible
    assert saddle.why_not == "The saddle would go below its floor."
    np.testing.assert_allclose(saddle.saddle_after_mm, [1.6, 2.0])


def test_the_ceiling_stops_a_taller_saddle():
    saddle = options_of(for_error(-1.2, saddle=(3.0, 2.0)))["saddle"]
    assert saddle.why_not == "The saddle would have to be taller than its ceiling."
    np.testing.assert_allclose(saddle.saddle_after_mm, [4.8, 4.4])


def test_a_saddle_that_is_right_is_left():
    saddle = options_of(for_error(0.0))["saddle"]
    assert saddle.why_not == "There is no change to make that a hand can set."


def test_turns_are_in_eighths_and_their_result_exact():
    option = options_of(for_error((0.5, 0.5)), TILTING)["tilt"]
    assert option.feasible
    assert option.turns == 0.25
    # By hand: 0.25 mm over 70 mm is 0.20463°; 0.5 mm of action wants 1.004 mm of rise.
    assert option.tilt_change_deg == pytest.approx(0.20463, abs=1e-5)
    assert option.bridge_rise_after_mm == pytest.approx(
        rise_after_tilt(1.0, option.tilt_change_deg, **PIVOT)
    )
    assert option.tilt_left_deg == pytest.approx(2.0 - 0.20463, abs=1e-5)
    left = rise_after_tilt(option.bridge_rise_after_mm, option.tilt_left_deg, **PIVOT)
    assert option.joint_room_after_mm == pytest.approx(option.bridge_rise_after_mm - left)
    assert option.cautions == ("slacken", "eyes", "maker", "remeasure")
    # The gauge's 0.10 and a tenth of the 0.515 mm moved at fret 12.
    assert option.amount_u_mm == pytest.approx(np.hypot(0.10, 0.0515), abs=2e-4)


def test_a_shim_is_one_in_stock():
    option = options_of(for_error((0.4, 0.4)), SHIMMED)["tilt"]
    assert option.feasible
    assert (option.shim_mm, option.turns) == (0.25, None)


def test_the_angle_takes_the_common_part_and_the_saddle_the_rest():
    option = options_of(for_error((0.9, 0.5)), TILTING)["tilt_and_saddle"]
    assert option.feasible
    assert option.turns == 0.125  # 0.25 would take the treble past its target
    assert np.all(option.saddle_cut_mm > 0)
    np.testing.assert_allclose(option.action_12_after_mm, Targets().action_12_mm, atol=0.013)
    assert option.cautions == ("slacken", "eyes", "dust", "maker", "remeasure")


def test_where_the_floor_is_near_a_new_saddle_goes_with_more_turns():
    option = options_of(for_error((0.0, 0.56), saddle=(1.9, 1.7)), TILTING)["tilt_and_saddle"]
    assert option.feasible
    assert np.all(option.saddle_cut_mm < 0)
    assert np.all((option.saddle_after_mm >= 2.0) & (option.saddle_after_mm <= 4.8))
    assert recommended(for_error((0.0, 0.56), saddle=(1.9, 1.7)), TILTING) == "tilt_and_saddle"


def test_with_too_little_travel_a_new_saddle_cannot_help():
    short = Joint("tilting", bolt_arm_mm=70.0, thread_pitch_mm=1.0, tilt_max_deg=0.11)
    option = options_of(for_error(1.2, saddle=(1.7, 1.7)), short)["tilt_and_saddle"]
    assert option.turns == 0.125
    assert option.why_not == "The saddle would go below its floor."


SPENT = Joint("tilting", bolt_arm_mm=70.0, thread_pitch_mm=1.0)
QUARTER = float(
    (1.0 - rise_after_tilt(1.0, np.degrees(np.arcsin(0.25 / 70)), **PIVOT)) * reach(NECK, 12)
)


@pytest.mark.parametrize(
    ("error", "joint", "why_not"),
    [
        (
            0.5,
            Joint("tilting", tilt_max_deg=2.0),
            "The bolt's arm or its thread pitch is not on record.",
        ),
        (0.5, SPENT, "There is no travel left that lowers the strings."),
        (0.5, Joint("shimmed"), "There is no travel left that lowers the strings."),
        (
            -0.5,
            TILTING,
            "The joint may only be turned to lower the strings, and they must come up.",
        ),
        (
            -0.5,
            Joint("shimmed", shims_mm=(0.5,), one_way=False),
            "There is no travel left that raises the strings.",
        ),
        ((0.9, -0.1), TILTING, "Bass and treble are too far apart for the angle alone."),
        (
            1.0,
            Joint("tilting", bolt_arm_mm=70.0, thread_pitch_mm=1.0, tilt_max_deg=0.2),
            "There is not enough travel left for it.",
        ),
        (0.6, Joint("shimmed", shims_mm=(1.0,)), "No setting of the joint comes close enough."),
        (0.05, TILTING, "The change is smaller than the joint can be set."),
    ],
)
def test_why_the_angle_alone_will_not_do(error, joint, why_not):
    option = options_of(for_error(error), joint)["tilt"]
    assert not option.feasible
    assert option.why_not == why_not


@pytest.mark.parametrize(
    ("error", "joint", "why_not"),
    [
        (0.5, SPENT, "There is no travel left that lowers the strings."),
        (
            (0.5, 0.05),
            TILTING,
            "The part common to bass and treble is smaller than the joint can be set.",
        ),
        # A quarter turn exactly, by the formula of geometry.md section 3.
        (QUARTER, TILTING, "The angle alone does it; the saddle needs no work."),
    ],
)
def test_why_angle_and_saddle_together_will_not_do(error, joint, why_not):
    option = options_of(for_error(error), joint)["tilt_and_saddle"]
    assert not option.feasible
    assert option.why_not == why_not


def test_a_joint_that_goes_both_ways_raises_the_strings():
    option = options_of(for_error((-0.5, -0.5)), BOTH_WAYS)["tilt"]
    assert option.feasible
    assert option.turns < 0
    assert option.bridge_rise_after_mm > 1.0


def test_a_reset_aims_for_a_saddle_as_built():
    # Common practice: a reset leaves a saddle of about 1/8 in ("Neck resets", Acoustic Guitar
    # magazine), and a heel wedge in proportion (similar triangles).
    option = options_of(for_error(0.8, saddle=(2.0, 2.0), rise=2.0))["reset"]
    assert option.feasible
    assert option.saddle_after_mm.mean() == pytest.approx(3.2, abs=0.2)
    np.testing.assert_allclose(option.action_12_after_mm, Targets().action_12_mm, atol=0.013)
    assert option.wedge_mm == pytest.approx(float(heel_wedge(option.tilt_change_deg, 90.0)))
    assert option.wedge_mm / 0.05 == pytest.approx(round(option.wedge_mm / 0.05))
    assert option.cautions == (
        *("slacken", "eyes", "heat", "dust", "trained", "maker", "remeasure"),
    )


def test_only_a_glued_joint_needs_heat():
    assert "heat" not in options_of(for_error(0.8), Joint("bolted"))["reset"].cautions


def test_a_reset_leaves_the_adjusters_travel():
    assert options_of(for_error(0.8), TILTING)["reset"].tilt_left_deg == 2.0


def test_a_learnt_gain_makes_turns_surer_but_not_a_reset():
    learnt = dataclasses.replace(TILTING, u_rise_gain=0.02)
    usual, surer = (options_of(for_error(0.8), joint) for joint in (TILTING, learnt))
    assert surer["tilt"].amount_u_mm < usual["tilt"].amount_u_mm
    assert surer["reset"].amount_u_mm == usual["reset"].amount_u_mm


def test_a_neck_set_too_far_back_is_brought_forward():
    option = options_of(for_error(-1.2, saddle=(4.0, 4.0), rise=-3.0))["reset"]
    assert option.feasible
    assert option.tilt_change_deg < 0
    assert option.wedge_mm < 0


def test_an_adjustable_neck_set_too_far_back_wants_no_reset():
    option = options_of(for_error(-1.2, saddle=(4.0, 4.0), rise=-3.0), TILTING)["reset"]
    assert option.why_not == "The strings must come up, and the joint can be set forward for that."


def test_a_reset_beyond_reason_says_measure_again():
    option = options_of(for_error(12.0, rise=10.0))["reset"]
    assert option.why_not == "It asks for more angle than a reset gives: measure again."
    assert option.tilt_change_deg == pytest.approx(4.0, abs=0.04)


def test_a_reset_that_changes_nothing_is_none():
    reset = options_of(for_error(0.0, saddle=(3.2, 3.2)))["reset"]
    assert reset.wedge_mm == 0.0
    assert reset.why_not == "The neck's angle is already right for a new saddle."


def test_sides_too_far_apart_for_any_saddle():
    targets = Targets(action_12_mm=(4.0, 1.0))
    option = options_of(for_error((0.0, 2.5)), targets=targets)["reset"]
    assert option.why_not == (
        "Bass and treble are too far apart for a saddle between floor and ceiling."
    )


@pytest.mark.parametrize(
    ("readings", "joint", "key"),
    [
        # A move that can be undone first, the saddle in its band of 2 to 4 mm.
        (for_error(0.5), TILTING, "tilt"),
        (for_error((0.9, 0.5)), TILTING, "tilt_and_saddle"),
        # No travel: the saddle, its floor kept.
        (for_error(0.4), Joint(), "saddle"),
        (for_error(0.15 + 0.01, saddle=(2.0, 2.0)), Joint(), "saddle"),
        # A saddle above its band comes down into it, travel or not.
        (for_error(0.4, saddle=(4.6, 4.6)), TILTING, "saddle"),
        # A low saddle is not lowered while there is travel.
        (for_error(0.5, saddle=(1.8, 1.8)), TILTING, "tilt"),
        # Nor cut out of its band where no way is in it on both sides.
        (for_error((0.7, 0.8), saddle=(4.1, 2.3)), SHIMMED, "tilt"),
        # Neither: a reset.
        (for_error(0.8, saddle=(2.0, 2.0)), Joint(), "reset"),
        # Too low, and the joint goes one way only: a taller saddle.
        (for_error(-0.4), TILTING, "saddle"),
        (for_error(-0.5), BOTH_WAYS, "tilt"),
        (for_error(12.0, rise=10.0), Joint(), "leave"),
    ],
)
def test_the_option_to_take(readings, joint, key):
    assert recommended(readings, joint) == key


@given(height_readings, any_joint, any_targets)
def test_no_option_passes_a_limit_whatever_the_readings(readings, joint, targets):
    bench = bench_of(readings, joint, targets)
    before = bench.set_up.saddle_mm
    for option in lay_out(bench):
        lowest = np.minimum(before, targets.saddle_floor_mm)
        assert np.all(option.saddle_after_mm >= lowest - 1e-8)
        assert np.all(
            option.saddle_after_mm <= np.maximum(before, targets.saddle_ceiling_mm) + 1e-8
        )
        if option.key != "reset" and option.tilt_change_deg != 0.0:
            assert joint.kind in ("tilting", "shimmed")
            assert not joint.one_way or option.tilt_change_deg > 0.0
            after = joint.tilt_now_deg + option.tilt_change_deg
            now, low, high = joint.tilt_now_deg, joint.tilt_min_deg, joint.tilt_max_deg
            assert joint.kind == "shimmed" or (
                min(low, now) - 1e-6 <= after <= max(high, now) + 1e-6
            )
        assert option.feasible == (option.why_not == "")


@given(height_readings, any_joint, any_targets)
def test_a_feasible_option_meets_the_targets_and_keeps_its_sums(readings, joint, targets):
    bench = bench_of(readings, joint, targets)
    options = lay_out(bench)
    for option in options:
        raised = option.bridge_rise_after_mm - bench.rise_mm - option.saddle_cut_mm
        shares = reach(NECK, np.array(FRETS))[:, None]
        np.testing.assert_allclose(
            option.action_after_mm - options[0].action_after_mm, shares * raised, atol=1e-9
        )
        np.testing.assert_allclose(option.action_after_mm[2], option.action_12_after_mm, atol=1e-9)
        assert option.saddle_room_after_mm == pytest.approx(
            option.rise_limit_after_mm - option.bridge_rise_after_mm
        )
        if option.feasible and option.key != "leave":
            error = option.action_12_after_mm - targets.action_12_mm
            assert np.all(np.abs(error) <= targets.action_tolerance_mm + 1e-6)
    key = recommend(bench, options)
    assert next(o for o in options if o.key == key).feasible


@given(height_readings, any_targets)
def test_the_limit_is_the_smaller_of_the_two_sides(readings, targets):
    limits = [
        float(
            rise_limit(
                NECK,
                target_action_12_mm=np.asarray(targets.action_12_mm)[side],
                action_1_mm=NUT[side],
                bridge_rise_mm=readings.bridge_rise_mm,
                saddle_mm=np.asarray(readings.saddle_mm)[side],
                relief_mm=readings.relief_mm,
                saddle_floor_mm=targets.saddle_floor_mm,
            )
        )
        for side in (0, 1)
    ]
    assert bench_of(readings, targets=targets).limit_mm() == pytest.approx(min(limits))
