import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.joint import (
    bolt_load,
    bolt_travel,
    extension_gap,
    heel_wedge,
    joint_gain,
    rise_after_tilt,
    shim_tilt,
    side_trim,
    tilt_after_turns,
    tilt_for_rise,
)
from tests.geometry.reference_files import rows

PIVOT = {"pivot_to_saddle_mm": 289.904, "pivot_depth_mm": 12.0}

rises = st.floats(-8, 8)
tilts = st.floats(-3, 3)
pivots = st.fixed_dictionaries(
    {"pivot_to_saddle_mm": st.floats(120, 400), "pivot_depth_mm": st.floats(0, 60)}
)


@pytest.mark.parametrize(
    ("rise", "tilt", "after"), [(1.2, 0.6, -1.8365), (0.4, 0.25, -0.8651), (1.0, -0.3, 2.5177)]
)
def test_worked_tilts(rise, tilt, after):
    # geometry.md section 3, worked there.
    assert rise_after_tilt(rise, tilt, **PIVOT) == pytest.approx(after, abs=5e-5)


def test_worked_adjustment_with_an_m6_bolt():
    # geometry.md section 3: from 1.2 to -0.3 mm; thread pitch from ISO 262 coarse.
    (pitch,) = (float(r["pitch_mm"]) for r in rows("threads.csv") if r["size"] == "M6")
    tilt = tilt_for_rise(1.2, -0.3, **PIVOT)
    assert tilt == pytest.approx(0.29642, abs=5e-6)
    travel = bolt_travel(tilt, 70.0)
    assert travel == pytest.approx(0.36215, abs=1e-5)
    assert travel / pitch == pytest.approx(0.362, abs=5e-4)
    # from the middle of its travel, as is taken where nothing else is said: 70·sin δ
    assert travel == pytest.approx(70.0 * math.sin(math.radians(tilt)), rel=1e-12)


def test_worked_heel_wedge():
    # geometry.md section 3 and trade.md: 3 mm of rise, H 90, 287.4 mm: 0.939 mm and 0.598°.
    tilt = tilt_for_rise(3.0, 0.0, pivot_to_saddle_mm=287.4, pivot_depth_mm=0.0)
    assert tilt == pytest.approx(0.598, abs=5e-4)
    assert heel_wedge(tilt, 90.0) == pytest.approx(0.939, abs=6e-4)


def test_worked_bolt_load():
    # geometry.md section 3: moments by hand, 720 x 14.3 / 70.
    load = bolt_load(720.0, pivot_depth_mm=12.0, string_height_mm=2.3, bolt_arm_mm=70.0)
    assert load == pytest.approx(147.0, abs=0.1)


def test_one_turn_of_m6_on_a_75_mm_arm():
    # trade.md, derived: 0.764° and 3.83 mm at the saddle of a 14-fret neck (287.4 mm away).
    tilt = tilt_after_turns(1.0, 1.0, 75.0)
    assert tilt == pytest.approx(0.764, abs=5e-4)
    flat = {"pivot_to_saddle_mm": 287.4, "pivot_depth_mm": 0.0}
    assert -rise_after_tilt(0.0, tilt, **flat) == pytest.approx(3.83, abs=5e-3)


@pytest.mark.parametrize("row", rows("threads.csv"), ids=lambda r: r["size"])
def test_a_quarter_turn_advances_the_bolt_by_the_threads_own_figure(row):
    # ISO 262 coarse and ASME B1.1 pitches, as the file says.
    pitch, quarter = float(row["pitch_mm"]), float(row["advance_mm_per_quarter_turn"])
    tilt = tilt_after_turns(0.25, pitch, 70.0)
    assert bolt_travel(tilt, 70.0) == pytest.approx(quarter, abs=1e-6)


def test_shims_by_similar_triangles():
    # By hand: 90 mm of depth and 90 mm of shim is 45°; swapping equal shims changes nothing.
    assert shim_tilt(90.0, 90.0) == pytest.approx(45.0)
    assert shim_tilt(0.5, 90.0, 0.5) == 0.0
    assert shim_tilt(0.0, 90.0, 0.5) == -shim_tilt(0.5, 90.0)


def test_the_extension_rises_by_its_triangle():
    # By hand: at 10° with no depth, 100 sin 10°; a depth takes off d (1 - cos).
    assert extension_gap(10.0, pivot_to_end_mm=100.0, pivot_depth_mm=0.0) == pytest.approx(
        17.3648, abs=1e-4
    )
    deep = extension_gap(10.0, pivot_to_end_mm=100.0, pivot_depth_mm=12.0)
    assert deep == pytest.approx(17.3648 - 12.0 * (1 - 0.9848078), abs=1e-4)


def test_side_trim_by_similar_triangles():
    # By hand: 0.1 mm over a 50 mm spacing at 290 mm is 0.58 mm at the bridge, half at the octave.
    trim = side_trim(
        0.1,
        screw_spacing_mm=50.0,
        pivot_to_saddle_mm=290.0,
        nut_to_saddle_mm=650.0,
        fret_mm=325.0,
    )
    assert trim.at_bridge_mm == pytest.approx(0.58)
    assert trim.over_fret_mm == pytest.approx(0.29)


@given(rises, tilts, pivots)
def test_tilt_and_its_inverse_agree(rise, tilt, pivot):
    after = rise_after_tilt(rise, tilt, **pivot)
    assert tilt_for_rise(rise, after, **pivot) == pytest.approx(tilt, abs=1e-6)


@given(rises, st.floats(-3, 3), st.floats(0, 3), pivots)
def test_tilting_back_never_raises_the_bridge(rise, tilt, more, pivot):
    less = rise_after_tilt(rise, tilt, **pivot)
    assert rise_after_tilt(rise, tilt + more, **pivot) <= less + 1e-9


@given(st.floats(-8, 8), st.floats(0.5, 1.5), st.floats(40, 120), st.floats(-2, 2))
def test_turns_and_travel_are_inverse(turns, pitch, arm, now):
    after = tilt_after_turns(turns, pitch, arm, now)
    assert bolt_travel(after - now, arm, now) / pitch == pytest.approx(turns, abs=1e-9)


@given(st.floats(0, 3), st.floats(40, 140))
def test_a_shim_undoes_a_wedge(tilt, depth):
    assert shim_tilt(heel_wedge(tilt, depth), depth) == pytest.approx(tilt, abs=1e-9)


def test_a_missing_rise_stays_missing():
    assert np.isnan(rise_after_tilt(math.nan, 0.5, **PIVOT))
    assert np.isnan(tilt_for_rise(0.5, None, **PIVOT))


def test_gain_without_a_log_is_the_drawings_own():
    gain = joint_gain([], [], [], geometric_rise_per_turn_mm=-3.8)
    assert (gain.rise_per_turn_mm, gain.ratio, gain.used) == (-3.8, 1.0, 0)
    assert gain.u_rise_per_turn_mm == pytest.approx(0.38)
    assert gain.u_ratio == pytest.approx(0.10)


def test_gain_weighs_log_and_drawing_by_their_precision():
    # By hand, conjugate normal update: prior -4 ± 0.4 (weight 6.25); one turn that moved -3 with
    # an error of 0.4 in all (weight 6.25): midway, and 0.4/√2.
    gain = joint_gain(
        [1.0, 1.0, math.nan],
        [2.0, math.nan, 1.0],
        [-1.0, 0.0, 0.5],
        geometric_rise_per_turn_mm=-4.0,
        rise_sd_mm=0.4 / math.sqrt(2.0),
    )
    assert gain.rise_per_turn_mm == pytest.approx(-3.5)
    assert gain.u_rise_per_turn_mm == pytest.approx(0.4 / math.sqrt(2.0))
    assert gain.ratio == pytest.approx(0.875)
    assert gain.used == 1


@given(st.lists(st.tuples(st.floats(-2, 2), rises, rises), min_size=1, max_size=6))
def test_gain_never_grows_less_certain_and_a_joint_is_a_row_of_many(log):
    turns, before, after = (list(column) for column in zip(*log, strict=True))
    one = joint_gain(turns, before, after, geometric_rise_per_turn_mm=-3.8)
    assert one.u_ratio <= 0.10 + 1e-12
    two = joint_gain(
        [turns, [math.nan] * len(turns)],
        before,
        after,
        geometric_rise_per_turn_mm=[-3.8, -2.0],
    )
    assert two.rise_per_turn_mm[0] == pytest.approx(one.rise_per_turn_mm)
    assert two.rise_per_turn_mm[1] == -2.0
    assert list(two.used) == [len(turns), 0]


@given(st.floats(0.7, 1.3))
def test_a_long_log_carries_the_day(true_ratio):
    turns = np.full(400, 0.5)
    after = turns * -3.8 * true_ratio
    gain = joint_gain(turns, 0.0, after, geometric_rise_per_turn_mm=-3.8)
    assert gain.ratio == pytest.approx(true_ratio, abs=0.02)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: rise_after_tilt(1.0, 25.0, **PIVOT),
            "tilt_deg must be between -20 and 20, got 25",
        ),
        (
            lambda: rise_after_tilt(1.0, 0.5, pivot_to_saddle_mm=0.0, pivot_depth_mm=12.0),
            "pivot_to_saddle_mm must be more than 0, got 0",
        ),
        (
            lambda: rise_after_tilt(1.0, 0.5, pivot_to_saddle_mm=290.0, pivot_depth_mm=-1.0),
            "pivot_depth_mm must be 0 or more, got -1",
        ),
        (lambda: rise_after_tilt(math.inf, 0.5, **PIVOT), "bridge_rise_mm must be a finite number"),
        (lambda: tilt_for_rise(1.0, 400.0, **PIVOT), "wanted_rise_mm as a share of the pivot"),
        (lambda: tilt_for_rise(1.0, -400.0, **PIVOT), "wanted_rise_mm as a share of the pivot"),
        (lambda: bolt_travel(0.5, 0.0), "bolt_arm_mm must be more than 0, got 0"),
        (lambda: tilt_after_turns(90.0, 1.0, 70.0), "turns, as the sine of the angle"),
        (lambda: tilt_after_turns(math.nan, 1.0, 70.0), "turns must be a finite number, got nan"),
        (lambda: heel_wedge(0.5, -90.0), "heel_depth_mm must be more than 0, got -90"),
        (lambda: shim_tilt(-0.5, 90.0), "shim_mm must be 0 or more, got -0.5"),
        (
            lambda: joint_gain([1.0], [1.0], [0.0], geometric_rise_per_turn_mm=0.0),
            "size of geometric_rise_per_turn_mm must be more than 0, got 0",
        ),
        (
            lambda: bolt_load(-1.0, pivot_depth_mm=1.0, string_height_mm=1.0, bolt_arm_mm=1.0),
            "tension_n must be 0 or more, got -1",
        ),
    ],
)
def test_it_refuses_what_cannot_be(call, message):
    with pytest.raises(ValueError, match=message):
        call()
