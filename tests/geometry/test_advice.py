import dataclasses
import math
from functools import partial

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry import advice as trade
from geometry.action import Neck
from geometry.advice import GaugeUncertainty, Joint, Readings, Targets, rooms
from geometry.reasons import REASONS, height_reason
from tests.geometry.setups import (
    NECK,
    NUT,
    SHIMMED,
    TILTING,
    any_joint,
    any_readings,
    any_targets,
    consistent,
    for_error,
    height_readings,
)

NAN = math.nan
GLUED = Joint()
advise = partial(trade.advise, set_frets=(12,))


def with_12(readings, change, **others):
    fields = {f.name: getattr(readings, f.name) for f in dataclasses.fields(Readings)}
    fields["action_12_mm"] = np.asarray(readings.action_12_mm) + change
    return Readings(**fields | others)


# One row for each rung of the trade's order (geometry.md section 6; common practice).
ORDER = [
    (
        Readings(NUT, (2.9, 2.2), (3.0, 2.2), NAN, 0.6),
        GLUED,
        "cannot_say",
        "no_bridge_rise",
        "",
        "",
    ),
    (
        Readings((NAN, 0.33), (NAN, 2.2), (3.0, 2.2), 1.0, 0.2),
        GLUED,
        "cannot_say",
        "no_action_12",
        "",
        "",
    ),
    (
        with_12(consistent(1.0, (3.0, 2.2), relief=0.6), (0.0, 1.0)),
        GLUED,
        "remeasure",
        "contradiction",
        "treble",
        "leave",
    ),
    (
        consistent(1.0, (3.0, 2.2), relief=0.6, nut=(1.2, 0.9)),
        GLUED,
        "relief",
        "relief_high",
        "",
        "leave",
    ),
    (consistent(1.0, (3.0, 2.2), relief=0.0), GLUED, "relief", "relief_low", "", "leave"),
    (consistent(1.0, (3.0, 2.2), nut=(0.60, 0.9)), GLUED, "nut", "nut_high", "treble", "leave"),
    (consistent(1.0, (3.0, 2.2), nut=(0.30, 0.33)), GLUED, "nut", "nut_low", "bass", "leave"),
    (consistent(0.2, (3.0, 1.6)), GLUED, "none", "in_tolerance", "", "leave"),
    (consistent(0.2, (3.6, 2.4)), GLUED, "height", "saddle_cut", "", "saddle"),
    (consistent(-1.0, (3.0, 1.5)), GLUED, "height", "saddle_taller", "", "saddle"),
    (consistent(1.5, (2.8, 1.9)), GLUED, "height", "reset", "", "reset"),
    (consistent(1.5, (2.8, 1.9)), TILTING, "height", "turns", "", "tilt"),
    (
        consistent(0.8, (3.2, 2.9)),
        TILTING,
        "height",
        "turns_and_saddle",
        "",
        "tilt_and_saddle",
    ),
    (
        consistent(1.5, (1.9, 1.7)),
        TILTING,
        "height",
        "turns_and_new_saddle",
        "",
        "tilt_and_saddle",
    ),
    (consistent(1.2, (2.9, 1.85)), SHIMMED, "height", "shim", "", "tilt"),
    (consistent(1.5, (2.8, 1.9)), SHIMMED, "height", "shim_and_saddle", "", "tilt_and_saddle"),
    (
        consistent(1.5, (1.9, 1.7)),
        SHIMMED,
        "height",
        "shim_and_new_saddle",
        "",
        "tilt_and_saddle",
    ),
    (consistent(22.0, (3.0, 2.0)), GLUED, "height", "nothing_serves", "", "leave"),
]


@pytest.mark.parametrize(
    ("readings", "joint", "first_step", "key", "side", "recommended"),
    ORDER,
    ids=[f"{row[3]}-{row[4]}" for row in ORDER],
)
def test_it_walks_the_trades_order(readings, joint, first_step, key, side, recommended):
    advice = advise(NECK, readings, Targets(), joint)
    assert (advice.first_step, advice.reason_key) == (first_step, key)
    assert (advice.reason_side, advice.recommended) == (side, recommended)
    assert bool(advice.options) == (first_step != "cannot_say")


def test_every_reason_is_reached():
    assert {key for _, _, _, key, _, _ in ORDER} | {"surprise"} == set(REASONS)


def test_a_saddle_taller_on_one_side_is_a_new_one():
    readings = for_error((0.8, -0.1), saddle=(2.6, 2.1))
    advice = advise(NECK, readings, Targets(action_1_mm=NUT), TILTING)
    bass, treble = {option.key: option for option in advice.options}[
        "tilt_and_saddle"
    ].saddle_cut_mm
    assert treble < 0 < bass
    assert height_reason(advice.options[2]).key == "turns_and_new_saddle"


def test_a_joint_without_travel_has_no_room():
    left = rooms(NECK, Readings([NUT], [(2.9, 2.2)], [(3.0, 2.2)], [0.6], [0.2]), Targets())
    assert left.joint_room_mm == pytest.approx([0.0], abs=1e-12)
    assert left.saddle_room_mm == left.rise_limit_mm - 0.6


def test_a_surprise_comes_before_the_relief():
    readings = consistent(1.0, (3.0, 2.2), relief=0.6)
    for z in (3.2, -3.2):
        advice = advise(NECK, readings, Targets(), GLUED, surprise_z=z)
        assert (advice.first_step, advice.reason_key) == ("remeasure", "surprise")
        assert advice.reason_values == {"surprise_z": 3.2}
    assert advise(NECK, readings, Targets(), GLUED, surprise_z=2.9).first_step == "relief"


def test_the_reason_is_a_sentence_with_the_figures():
    advice = advise(NECK, consistent(1.5, (2.8, 1.9)), Targets(), TILTING)
    after = advice.options[1].action_12_after_mm
    assert advice.reason == (
        f"1/4 turn brings fret 12 to {after[0]:.2f} mm bass and {after[1]:.2f} mm treble, "
        "and can be undone."
    )
    assert advice.reason_values["turns"] == 0.25
    assert advice.reason_values["bass_mm"] == pytest.approx(after[0])


def test_turning_forward_is_said():
    joint = Joint(
        "tilting",
        bolt_arm_mm=70.0,
        thread_pitch_mm=1.0,
        tilt_now_deg=1.0,
        tilt_max_deg=2.0,
        one_way=False,
    )
    advice = advise(NECK, consistent(-0.73, (3.6, 2.2)), Targets(), joint)
    assert advice.recommended == "tilt"
    assert advice.reason.startswith("1/8 turn forward brings")


def test_relief_says_what_else_will_move():
    # geometry.md section 2: 1.5 of action and 2.22 of bridge rise for each of relief.
    advice = advise(NECK, consistent(1.0, (3.0, 2.2), relief=0.4), Targets(), GLUED)
    assert advice.reason_values["action_12_change_mm"] == pytest.approx(-0.30)
    assert advice.reason_values["bridge_rise_change_mm"] == pytest.approx(-0.444)
    assert advice.reason_values["limit_mm"] == 0.30


def test_limits_are_met_to_the_last_digit():
    for relief in (0.1, 0.3):
        readings = consistent(0.2, (3.0, 1.6), relief=relief)
        assert advise(NECK, readings, Targets(), GLUED).first_step == "none"
    readings = for_error((0.15, -0.15), rise=0.2, saddle=(3.6, 1.5))
    assert advise(NECK, readings, Targets(), GLUED).first_step == "none"
    # 0.68 − 0.58 and 0.33 − 0.23 are a hair more than the 0.10 that a nut may be off
    for nut, step in (((0.68, 0.23), "none"), ((0.69, 0.33), "nut"), ((0.58, 0.22), "nut")):
        readings = consistent(0.2, (3.0, 1.6), nut=nut)
        assert advise(NECK, readings, Targets(), GLUED).first_step == step


def test_a_contradiction_names_what_would_explain_it():
    readings = consistent(1.0, (3.0, 2.2))
    bass = float(np.asarray(readings.action_12_mm)[0])
    advice = advise(NECK, with_12(readings, (-0.9 * bass, 0.0)), Targets(), TILTING)
    assert advice.suspects == ("action_12_bass",)
    assert advice.suspect_details[0].should_read_mm == pytest.approx(bass)
    assert advice.suspect_details[0].slip == "decimal point"
    assert advice.reason_values["measured_mm"] == pytest.approx(bass / 10)
    assert advice.reason_values["predicted_mm"] == pytest.approx(bass)
    assert advice.balance_mm[1] == pytest.approx(0.0, abs=1e-12)
    assert advice.balance_mm[0] / advice.balance_u_mm[0] < -3


def test_only_what_was_read_is_suspected():
    # Saddle not read on the bass, and what the rest imply could not be: taken as built.
    readings = Readings(NUT, (6.0, 2.2), (NAN, 2.2), 1.0, NAN)
    advice = advise(NECK, readings, Targets(), GLUED)
    assert advice.first_step == "remeasure"
    assert advice.assumed_mm["saddle_bass"] == 3.2
    assert "action_12_bass" in advice.suspects
    assert not {"saddle_bass", "relief"} & set(advice.suspects)


def test_what_was_assumed_is_said():
    readings = Readings((NAN, 0.33), (2.5, NAN), (NAN, 2.2), 0.6)
    advice = advise(NECK, readings, Targets(), GLUED)
    assert list(advice.assumed_mm) == ["relief", "action_1_bass", "saddle_bass", "action_12_treble"]
    saddle, treble = advice.assumed_mm["saddle_bass"], advice.assumed_mm["action_12_treble"]
    assert advice.assumptions == (
        "Relief not measured: 0.20 mm assumed, the middle of its window.",
        "Action at fret 1 not measured, bass: 0.58 mm assumed, its target.",
        f"Saddle not measured, bass: {saddle:.2f} mm from the other readings.",
        f"Action at fret 12 not measured, treble: {treble:.2f} mm from the other readings.",
    )
    # What was worked out from a reading cannot contradict it.
    assert np.isnan(advice.balance_mm).all()


def test_a_saddle_as_built_is_said_to_be():
    readings = Readings(NUT, (6.0, 2.2), (NAN, 2.2), 1.0, 0.2)
    advice = advise(NECK, readings, Targets(), GLUED)
    assert advice.assumptions == ("Saddle not measured, bass: 3.20 mm assumed, as built.",)


def test_assumptions_widen_the_uncertainty():
    readings = consistent(1.0, (3.0, 2.2))
    bare = Readings((NAN, NAN), readings.action_12_mm, (3.0, 2.2), 1.0)
    full, assumed = (advise(NECK, r, Targets(), GLUED) for r in (readings, bare))
    assert np.all(assumed.balance_u_mm > full.balance_u_mm)


def test_better_gauges_make_a_surer_amount():
    readings = consistent(0.8, (3.2, 2.4))
    fine = GaugeUncertainty(action_12_mm=0.02, saddle_mm=0.02)
    usual, better = (
        advise(NECK, readings, Targets(), GLUED, uncertainty=u).options[1].amount_u_mm
        for u in (None, fine)
    )
    assert better < usual / 3


def test_action_is_foretold_at_the_set_frets():
    advice = advise(NECK, for_error(0.5), Targets(), TILTING, set_frets=(0, 5, 12))
    for option in advice.options:
        assert option.set_frets == (0, 5, 12)
        assert option.action_after_mm.shape == (3, 2)
        np.testing.assert_allclose(option.action_after_mm[2], option.action_12_after_mm)


@given(any_readings, any_targets, any_joint, st.none() | st.floats(-5, 5))
def test_advice_is_safe_whatever_the_readings(readings, targets, joint, surprise_z):
    advice = advise(NECK, readings, targets, joint, surprise_z=surprise_z)
    assert advice.reason.endswith(".")
    assert "nan" not in advice.reason
    if advice.first_step == "cannot_say":
        assert (advice.options, advice.recommended) == ((), "")
        return
    by_key = {option.key: option for option in advice.options}
    assert by_key[advice.recommended].feasible
    assert advice.recommended == "leave" or advice.first_step == "height"
    for option in advice.options:
        before = option.saddle_after_mm + option.saddle_cut_mm
        lowest = np.minimum(before, targets.saddle_floor_mm)
        assert np.all(option.saddle_after_mm >= lowest - 1e-8)
        assert np.isfinite(option.action_after_mm).all()
        if option.key != "reset" and option.tilt_change_deg:
            after = joint.tilt_now_deg + option.tilt_change_deg
            assert joint.kind == "shimmed" or after <= (
                max(joint.tilt_max_deg, joint.tilt_now_deg) + 1e-6
            )


def fleet(rows) -> Readings:
    columns = [[np.asarray(getattr(r, f.name)) for r in rows] for f in dataclasses.fields(Readings)]
    return Readings(*(np.array(column) for column in columns))


@given(st.lists(height_readings, min_size=1, max_size=4), any_targets)
def test_rooms_of_one_are_a_row_of_many(rows, targets):
    left = np.linspace(0.0, 1.5, len(rows))
    batch = rooms(NECK, fleet(rows), targets, tilt_left_deg=left)
    for i, row in enumerate(rows):
        joint = Joint("tilting", tilt_max_deg=float(left[i]))
        leave = advise(NECK, row, targets, joint).options[0]
        assert batch.rise_limit_mm[i] == pytest.approx(leave.rise_limit_after_mm)
        assert batch.saddle_room_mm[i] == pytest.approx(leave.saddle_room_after_mm)
        assert batch.joint_room_mm[i] == pytest.approx(leave.joint_room_after_mm)


def test_rooms_by_hand():
    # geometry.md section 2: worked row 1, limit 1.7260 and so 1.3260 of room; the other string is
    # made roomier. One degree at 289.904 mm is 5.06 mm, and none for a joint without travel.
    readings = Readings(
        [[0.5, 0.5]] * 2, [[2.3, 2.3]] * 2, [[3.0, 3.2]] * 2, [0.4, NAN], [0.2, 0.2]
    )
    targets = Targets(action_12_mm=(2.3, 2.9))
    found = rooms(NECK, readings, targets, tilt_left_deg=[1.0, 0.0])
    assert found.rise_limit_mm[0] == pytest.approx(1.7260, abs=5e-5)
    assert found.saddle_room_mm[0] == pytest.approx(1.3260, abs=5e-5)
    assert found.joint_room_mm[0] == pytest.approx(289.904 * math.sin(math.radians(1)), abs=3e-3)
    assert np.isnan(found.saddle_room_mm[1])


def test_rooms_of_necks_and_pivots_of_their_own():
    readings = fleet([consistent(0.4, (3.0, 2.2))] * 2)
    necks = Neck(np.array([645.2, 650.0]), np.array([2.5, 0.0]), np.array([14, 12]), 406.4)
    found = rooms(
        necks,
        readings,
        Targets(saddle_floor_mm=np.array([1.6, 1.0])),
        tilt_left_deg=1.0,
        pivot_to_saddle_mm=[300.0, 280.0],
        pivot_depth_mm=[12.0, 20.0],
    )
    assert found.saddle_room_mm.shape == (2,)
    assert found.joint_room_mm[0] > found.joint_room_mm[1]


def test_an_overdrawn_saddle_has_less_than_no_room():
    readings = fleet([consistent(3.0, (1.6, 1.6))])
    assert rooms(NECK, readings, Targets()).saddle_room_mm[0] < 0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"neck": Neck([645.0, 650.0])}, "neck.scale_length_mm must be one number, got an array"),
        (
            {"readings": Readings([NUT], [(2, 2)], [(3, 3)], [0.4])},
            r"readings.action_1_mm must have shape \(2,\), got \(1, 2\)",
        ),
        (
            {"readings": Readings(NUT, (2, 2), (3, 3), [0.4])},
            r"readings.bridge_rise_mm must have shape \(\), got \(1,\)",
        ),
        (
            {"targets": Targets(saddle_floor_mm=[1.6, 1.6])},
            r"targets.saddle_floor_mm must have shape \(\), got \(2,\)",
        ),
        ({"set_frets": (1, 40)}, "set_frets must be between 0 and 36, got 40"),
        ({"surprise_z": NAN}, "surprise_z must be a finite number, got nan"),
        (
            {"joint": Joint("tilting", pivot_x_mm=700.0)},
            "pivot_to_saddle_mm must be more than 0, got -52.3",
        ),
    ],
)
def test_it_refuses_what_cannot_be(change, message):
    arguments = {
        "neck": NECK,
        "readings": consistent(0.4, (3.0, 2.2)),
        "targets": Targets(),
        "joint": GLUED,
    }
    with pytest.raises(ValueError, match=message):
        advise(**arguments | change)


def test_rooms_refuse_travel_below_nothing():
    with pytest.raises(ValueError, match="tilt_left_deg must be 0 or more, got -1"):
        rooms(NECK, fleet([consistent(0.4, (3.0, 2.2))]), Targets(), tilt_left_deg=-1.0)
