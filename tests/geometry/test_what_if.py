"""What-ifs against the contract's worked values, the trade's figures, and themselves."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.action import Neck
from geometry.balance import GaugeUncertainty
from geometry.joint import rise_after_tilt
from geometry.lift_model import LiftPrior
from geometry.options import Bench
from geometry.readings import Joint, Readings, Targets, complete, two_sided
from geometry.what_if import (
    board_end_gap,
    cover,
    lift_of_new,
    one_turn,
    pivot_share,
    pull_on_joint,
    string_over_plane,
    what_if,
)

# First row of the worked table in the project's contract (geometry.md §2), on both sides.
NECK = Neck(645.2, 2.5, 14, 406.4, 18.5, 27.0)
READINGS = Readings(
    action_1_mm=(0.50, 0.50),
    action_12_mm=(np.nan, np.nan),
    saddle_mm=(3.0, 3.0),
    bridge_rise_mm=0.4,
    relief_mm=0.20,
)
TARGETS = Targets(action_12_mm=(2.3, 2.3), saddle_floor_mm=1.6)
TILTING = Joint(
    "tilting",
    pivot_depth_mm=12.0,
    bolt_arm_mm=70.0,
    thread_pitch_mm=1.0,
    tilt_max_deg=2.0,
    one_way=False,
)


def bench(readings=READINGS, neck=NECK, joint=TILTING, frets=tuple(range(1, 21))):
    return Bench(
        neck=two_sided(neck),
        set_up=complete(neck, readings, TARGETS),
        targets=TARGETS,
        joint=joint,
        set_frets=frets,
        gauges=GaugeUncertainty(),
    )


def test_the_contracts_worked_table():
    # geometry.md §2: actions at 7, 12 and 14, height at the nut, and the rise limit.
    case = what_if(bench())
    for fret, action in ((7, 1.7890), (12, 2.3369), (14, 2.4775)):
        assert case.foretold.action_before_mm[fret - 1] == pytest.approx(action, abs=6e-5)
    assert string_over_plane(case.before, [0.0, 1.0])[:, 0] == pytest.approx(
        [-0.1412, 3.4], abs=6e-5
    )
    assert case.saddle_room_mm == pytest.approx(1.7260 - 0.4, abs=6e-5)


@pytest.mark.parametrize(("rise", "tilt", "after"), [(1.2, 0.6, -1.8365), (0.4, 0.25, -0.8651)])
def test_the_contracts_worked_tilts(rise, tilt, after):
    # geometry.md §3: X = 289.904, d 12.
    case = what_if(bench(replace(READINGS, bridge_rise_mm=rise)), tilt_deg=tilt)
    assert case.after.rise_mm == pytest.approx(after, abs=6e-5)
    assert case.tilt_left_deg == pytest.approx(2.0 - tilt)


def test_nothing_changed_leaves_every_figure():
    case = what_if(bench())
    assert case.foretold.action_after_mm == pytest.approx(case.foretold.action_before_mm)
    assert np.array_equal(case.after.set_up.saddle_mm, case.before.set_up.saddle_mm)
    assert case.after.rise_mm == pytest.approx(case.before.rise_mm)
    assert not case.nut_change_mm.any()
    share = np.linspace(0, 1, 5)
    assert string_over_plane(case.after, share) == pytest.approx(
        string_over_plane(case.before, share)
    )


def test_asking_for_what_stands_changes_nothing():
    case = what_if(bench(), saddle_mm=(3.0, 3.0), relief_mm=0.20, action_1_mm=(0.50, 0.50))
    assert case.foretold.action_after_mm == pytest.approx(case.foretold.action_before_mm)


def test_the_saddle_moves_twice_the_action_at_12():
    # "How To Adjust String Height at the Bridge", Acoustic Guitar magazine, 2013: 2 to 1.
    case = what_if(bench(), saddle_mm=(2.4, 3.0))
    drop = case.foretold.action_before_mm - case.foretold.action_after_mm
    assert drop[11] == pytest.approx([0.3, 0.0], rel=0.01)
    # Derived: 0.333 of it at fret 7, 0.555 at fret 14 (1 − 2^(−n/12)), but for the compensation.
    assert drop[[6, 13], 0] == pytest.approx([0.6 * 0.333, 0.6 * 0.555], rel=0.01)


def test_the_first_fret_ends_where_it_was_wanted_whatever_else_moves():
    case = what_if(bench(), saddle_mm=(2.0, 2.2), tilt_deg=0.3, action_1_mm=(0.45, np.nan))
    assert case.foretold.action_after_mm[0, 0] == pytest.approx(0.45)
    assert case.after.set_up.action_1_mm == pytest.approx(case.foretold.action_after_mm[0])
    assert case.nut_change_mm[1] == 0.0


# The bridge rise is always read over the saddle line, which stays where it is while the bridge's own point
# turns away from it: there and back misses by (d + b)·sin²δ, 0.0018 mm at 0.7° and 12.4 mm. Relief turns
# the fret plane to first order, so with both the way back misses by the product of the two angles too.
@pytest.mark.parametrize(("relief", "misses_mm"), [(None, 0.002), (0.1, 0.003)])
def test_there_and_back_again(relief, misses_mm):
    there = what_if(bench(), tilt_deg=0.7, saddle_mm=(3.5, 3.4), relief_mm=relief)
    back = what_if(
        there.after, tilt_deg=-0.7, saddle_mm=(3.0, 3.0), relief_mm=None if relief is None else 0.2
    )
    assert back.after.rise_mm == pytest.approx(0.4, abs=misses_mm)
    assert back.foretold.action_after_mm == pytest.approx(
        there.foretold.action_before_mm, abs=misses_mm
    )


def test_after_a_change_the_string_still_runs_through_the_actions():
    case = what_if(bench(), tilt_deg=0.4, saddle_mm=(3.3, 2.9), relief_mm=0.12)
    again = what_if(case.after)
    assert again.foretold.action_before_mm == pytest.approx(case.foretold.action_after_mm)


@given(st.floats(-1.5, 1.5), st.floats(0.01, 1.0))
def test_more_tilt_lowers_every_fret(tilt, more):
    less, further = (what_if(bench(), tilt_deg=t) for t in (tilt, tilt + more))
    assert np.all(further.foretold.action_after_mm < less.foretold.action_after_mm)
    assert further.joint_room_mm <= less.joint_room_mm


def test_one_turn_of_m6_on_a_75_mm_arm():
    # Trade figure derived in the project's contract: 0.764°, 3.83 mm at the saddle, 1.92 mm of
    # 12th-fret action on a 14-fret neck whose joint lies 287.4 mm from the saddle.
    neck = replace(NECK, compensation_mm=0.0)
    turn = one_turn(bench(neck=neck), 1.0, 75.0, 0.0)
    assert float(turn.tilt_deg) == pytest.approx(0.764, abs=6e-4)
    assert float(turn.rise_mm) == pytest.approx(3.83, abs=6e-3)
    assert float(turn.action_12_mm) == pytest.approx(1.92, abs=6e-3)


def test_a_coarser_thread_turns_the_neck_further():
    pitches = np.array([0.7, 0.79375, 1.0, 1.27])
    turn = one_turn(bench(), pitches, 70.0, 0.5)
    assert np.all(np.diff(turn.tilt_deg) > 0)
    assert float(one_turn(bench(), 1.0, 70.0, 0.5).rise_mm) == pytest.approx(turn.rise_mm[2])


def test_a_learnt_gain_makes_a_turn_do_more():
    learnt = replace(TILTING, rise_gain=1.1)
    plain, more = (one_turn(bench(joint=j), 1.0, 70.0, 0.0).rise_mm for j in (TILTING, learnt))
    assert more / plain == pytest.approx(1.1, rel=1e-3)


FLAT = replace(NECK, fretboard_radius_mm=None)


def level(height_mm):
    """Strings that lie level over a flat board."""
    return replace(
        READINGS, action_1_mm=(height_mm,) * 2, action_12_mm=(height_mm,) * 2, relief_mm=0.0
    )


def test_the_contracts_worked_bolt_load():
    # geometry.md §3: T 720 N, d 12, a_p 2.3, ℓ 70 → 147 N.
    pull = pull_on_joint(bench(level(2.3), FLAT), [120.0] * 6, 70.0)
    assert pull.bolt_n.sum() == pytest.approx(147, abs=0.5)
    assert pull.moment_n_m.sum() == pytest.approx(720 * 14.3 / 1000)
    assert pull.bolt_n == pytest.approx(pull.bolt_n[0])


def test_a_cambered_board_carries_the_middle_strings_higher():
    pull = pull_on_joint(bench(), [120.0] * 6, 70.0)
    assert np.all(np.diff(pull.bolt_n[:3]) > 0)
    # Hand-checked: half spread at the joint 18.5 + 8.5·357.8/647.7 = 23.20, drop 23.2²/2R = 0.662;
    # action at 14 is 2.4775, so 1.815 over the plane under the outer string.
    assert pull.bolt_n[0] == pytest.approx(120 * (12 + 1.815) / 70, rel=1e-4)


def test_two_strings_lie_at_the_two_edges():
    # By hand as above: each 1.815 over the plane; a single one in the middle, a drop of 0.662 higher.
    pull = pull_on_joint(bench(), [120.0, 120.0], 70.0)
    assert pull.bolt_n == pytest.approx(120 * (12 + 1.815) / 70, rel=1e-4)
    pull = pull_on_joint(bench(), [120.0], 70.0)
    assert pull.bolt_n == pytest.approx(120 * (12 + 1.815 + 0.662) / 70, rel=1e-4)


def test_strings_below_the_pivot_load_no_bolt():
    no_depth = replace(TILTING, pivot_depth_mm=0.0)
    low = replace(READINGS, action_1_mm=(0.0, 0.0), action_12_mm=(0.0, 0.0), relief_mm=0.0)
    pull = pull_on_joint(bench(low, joint=no_depth), [120.0] * 6, 70.0)
    assert pull.bolt_n[0] == 0.0
    assert np.all(pull.bolt_n >= 0.0)


def test_the_pivot_lies_at_the_joint_fret():
    # geometry.md §3: X = 289.904 of 647.7.
    assert pivot_share(bench()) == pytest.approx(1 - 289.904 / 647.7, abs=1e-6)


def test_the_boards_end_rises_with_tilt():
    # Triangle: fret 20 lies 441.975 mm from the nut (645.2·(1 − 2^(−20/12))), the pivot 357.796;
    # 84.179·sin 1° = 1.4691, less 12·(1 − cos 1°) = 0.0018.
    assert float(board_end_gap(bench(), 1.0, 20)) == pytest.approx(1.4673, abs=2e-3)
    assert float(board_end_gap(bench(), 0.0, 20)) == 0.0
    assert float(board_end_gap(bench(), -1.0, 20)) < 0.0
    assert abs(float(board_end_gap(bench(), 1.0, 12))) < 0.01


def test_the_tilt_that_takes_up_a_lift_brings_the_bridge_back():
    case = what_if(bench(), tilt_deg=0.5)
    then = case.after.rise_mm + np.array([-0.3, 0.0, 1.6, 4.5])
    found = cover(case, then)
    assert found.tilt_deg[:2] == pytest.approx([0.0, 0.0], abs=1e-9)
    back = rise_after_tilt(then, found.tilt_deg, **case.after.pivot)
    assert back[2:] == pytest.approx(case.after.rise_mm)
    assert np.all(np.diff(found.tilt_deg) >= 0)


def test_travel_and_saddle_cover_what_their_rooms_hold():
    case = what_if(bench(), tilt_deg=1.9)
    room, saddle = case.joint_room_mm, case.saddle_room_mm
    assert room == pytest.approx(0.506, abs=2e-3)  # 0.1° of 289.9 mm: 0.506 mm
    lifts = np.array([room - 0.01, room + 0.01, room + saddle - 0.01, room + saddle + 0.01])
    found = cover(case, case.after.rise_mm + lifts)
    assert found.by_joint.tolist() == [True, False, False, False]
    assert found.with_saddle.tolist() == [True, True, True, False]


def test_a_glued_joint_covers_by_its_saddle_alone():
    case = what_if(bench(joint=Joint("glued")))
    found = cover(case, [case.after.rise_mm + 0.5])
    assert case.joint_room_mm == pytest.approx(0.0)
    assert found.by_joint.tolist() == [False]
    assert found.with_saddle.tolist() == [True]


def test_the_lift_of_a_new_instrument_is_its_priors():
    # Normal quantile of 90 %: 1.282 (NIST/SEMATECH e-Handbook, table of the normal distribution); the
    # planning default is 1.6 mm, s.d. of the logarithm 0.8.
    low, likely, high = lift_of_new(LiftPrior())
    assert likely == pytest.approx(1.6)
    assert (low, high) == pytest.approx(
        (1.6 * np.exp(-1.282 * 0.8), 1.6 * np.exp(1.282 * 0.8)), rel=1e-3
    )


def test_it_refuses_what_cannot_be():
    with pytest.raises(ValueError, match="tilt_deg must be between -20 and 20, got 30"):
        what_if(bench(), tilt_deg=30.0)
    with pytest.raises(ValueError, match="bolt_arm_mm must be more than 0, got 0"):
        one_turn(bench(), 1.0, 0.0, 0.0)
    with pytest.raises(ValueError, match="tension_n must be 0 or more, got -1"):
        pull_on_joint(bench(), [-1.0] * 6, 70.0)
    with pytest.raises(ValueError, match="probabilities"):
        lift_of_new(LiftPrior(), (0.0,))
