import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.action import (
    Neck,
    action_at_fret,
    height_at_nut,
    reach,
    relief_step,
    rise_limit,
    saddle_for_action,
    sag_per_relief,
)

NECK = Neck(645.2, 2.5, 14, 406.4, 18.5, 27.0)
FLAT = Neck(650.0, 0.0, 12)

# geometry.md section 2, worked by hand there: b, s, a1, r -> a7, a12, a14, h0, rise limit.
WORKED = [
    (0.4, 3.0, 0.50, 0.20, 1.7890, 2.3369, 2.4775, -0.1412, 1.7260),
    (1.2, 2.2, 0.45, 0.15, 1.7042, 2.2908, 2.4538, -0.1942, 1.8185),
]

heights = st.floats(-5, 8)
saddles = st.floats(0, 8)
actions_1 = st.floats(0, 2)
reliefs = st.floats(-0.5, 1.5)
necks = st.builds(
    Neck,
    st.floats(560, 700),
    st.floats(0, 5),
    st.sampled_from([12, 13, 14]),
    st.sampled_from([None, math.inf, 254.0, 406.4]),
    st.floats(15, 25),
    st.floats(20, 32),
)


@pytest.mark.parametrize(("b", "s", "a1", "r", "a7", "a12", "a14", "h0", "limit"), WORKED)
def test_worked_rows(b, s, a1, r, a7, a12, a14, h0, limit):
    readings = {"action_1_mm": a1, "bridge_rise_mm": b, "saddle_mm": s}
    actions = action_at_fret(NECK, [7, 12, 14], relief_mm=r, **readings)
    np.testing.assert_allclose(actions, [a7, a12, a14], atol=5e-5)
    assert height_at_nut(NECK, **readings) == pytest.approx(h0, abs=5e-5)
    assert rise_limit(
        NECK, target_action_12_mm=2.3, relief_mm=r, saddle_floor_mm=1.6, **readings
    ) == pytest.approx(limit, abs=5e-5)


def test_a_string_over_a_flat_board_is_a_triangle():
    # By hand: nut at 0, saddle 4 mm up, no relief: half of it at the octave.
    one = float(reach(FLAT, 1)) * 4.0
    readings = {"action_1_mm": one, "bridge_rise_mm": 1.0, "saddle_mm": 3.0, "relief_mm": 0.0}
    assert action_at_fret(FLAT, 12, **readings) == pytest.approx(2.0)
    assert action_at_fret(FLAT, 0, **readings) == pytest.approx(0.0, abs=1e-12)


def test_relief_lies_between_fret_1_and_the_joint():
    # geometry.md section 2: 0.390 of the relief at fret 12 of a neck with a 14th-fret joint.
    assert sag_per_relief(NECK, 12) == pytest.approx(0.390, abs=5e-4)
    np.testing.assert_allclose(sag_per_relief(NECK, [0, 1, 14, 20]), 0.0, atol=1e-12)
    # Midway in length the whole of it, whatever fret number that is.
    middle = (NECK.joint_mm + 645.2 * (1 - 2 ** (-1 / 12))) / 2
    fret = -12 * math.log2(1 - float(middle) / 645.2)
    assert sag_per_relief(NECK, fret) == pytest.approx(1.0)


@pytest.mark.parametrize(("fret", "share"), [(7, 0.333), (12, 0.5), (14, 0.555)])
def test_saddle_change_at_other_frets(fret, share):
    # trade.md, derived: share of a saddle change that arrives at a fret, 1 - 2^(-n/12).
    assert reach(FLAT, fret) == pytest.approx(share, abs=5e-4)


def test_the_saddle_moves_twice_the_change_wanted_at_the_twelfth():
    # "How To Adjust String Height at the Bridge", Acoustic Guitar magazine, 2013: two to one.
    readings = {"action_1_mm": 0.5, "bridge_rise_mm": 0.4, "saddle_mm": 3.0, "relief_mm": 0.2}
    now = action_at_fret(FLAT, 12, **readings)
    saddle = saddle_for_action(FLAT, 12, now - 0.4, **readings)
    assert 3.0 - saddle == pytest.approx(0.8)


def test_a_truss_rod_change_turns_the_fret_plane():
    # geometry.md section 2: 1.5 of action, 2 (1.5 - 0.39) of bridge rise, for each of relief.
    step = relief_step(-0.1)
    assert step.action_12_change_mm == pytest.approx(-0.15)
    assert step.bridge_rise_change_mm == pytest.approx(-0.222)


@given(necks, st.integers(1, 20), actions_1, heights, saddles, reliefs, st.floats(-1, 8))
def test_the_saddle_found_gives_the_action_wanted(neck, fret, a1, b, s, r, wanted):
    readings = {"bridge_rise_mm": b, "relief_mm": r}
    found = saddle_for_action(neck, fret, wanted, action_1_mm=a1, saddle_mm=s, **readings)
    # The first-fret action goes along by its own share of the saddle change.
    moved_1 = a1 + (found - s) * reach(neck, 1)
    again = action_at_fret(neck, fret, action_1_mm=moved_1, saddle_mm=found, **readings)
    assert again == pytest.approx(wanted, abs=1e-9)


@given(necks, actions_1, heights, saddles, reliefs, st.floats(0, 3))
def test_lowering_the_saddle_never_raises_any_action(neck, a1, b, s, r, cut):
    frets = np.arange(0, 21)
    readings = {"bridge_rise_mm": b, "relief_mm": r}
    before = action_at_fret(neck, frets, action_1_mm=a1, saddle_mm=s, **readings)
    moved_1 = a1 - cut * reach(neck, 1)
    after = action_at_fret(neck, frets, action_1_mm=moved_1, saddle_mm=s - cut, **readings)
    assert np.all(after <= before + 1e-12)


@given(necks, actions_1, heights, saddles, reliefs)
def test_fret_1_is_given_back_as_read(neck, a1, b, s, r):
    readings = {"action_1_mm": a1, "bridge_rise_mm": b, "saddle_mm": s, "relief_mm": r}
    assert action_at_fret(neck, 1, **readings) == pytest.approx(a1, abs=1e-9)


@given(necks, actions_1, heights, saddles, reliefs, st.floats(0.5, 4), st.floats(0, 3))
def test_at_the_rise_limit_the_saddle_at_its_floor_gives_the_target(
    neck, a1, b, s, r, target, floor
):
    readings = {"action_1_mm": a1, "relief_mm": r}
    limit = rise_limit(
        neck,
        target_action_12_mm=target,
        bridge_rise_mm=b,
        saddle_mm=s,
        saddle_floor_mm=floor,
        **readings,
    )
    readings["action_1_mm"] = a1 + (limit + floor - b - s) * reach(neck, 1)
    assert action_at_fret(
        neck, 12, bridge_rise_mm=limit, saddle_mm=floor, **readings
    ) == pytest.approx(target, abs=1e-9)


@given(
    st.lists(st.tuples(necks, actions_1, heights, saddles, reliefs), min_size=1, max_size=4),
    st.floats(1, 3),
)
def test_one_instrument_is_a_row_of_many(instruments, target):
    fields = [f.name for f in dataclasses.fields(Neck)]
    columns = {f: np.array([getattr(n, f) for n, *_ in instruments], float) for f in fields}
    radius = columns["fretboard_radius_mm"]  # None became NaN
    columns["fretboard_radius_mm"] = np.where(np.isnan(radius), math.inf, radius)
    names = ("action_1_mm", "bridge_rise_mm", "saddle_mm", "relief_mm")
    rest = {name: np.array([row[i + 1] for row in instruments]) for i, name in enumerate(names)}
    limits = {"target_action_12_mm": target, "saddle_floor_mm": 1.6}
    batch = rise_limit(Neck(**columns), **rest, **limits)
    single = [
        rise_limit(neck, **dict(zip(names, row, strict=True)), **limits)
        for neck, *row in instruments
    ]
    np.testing.assert_allclose(batch, single, rtol=1e-12, atol=1e-12)


def test_a_missing_reading_gives_a_missing_answer():
    readings = {"action_1_mm": [0.5, math.nan], "bridge_rise_mm": 0.4, "saddle_mm": 3.0}
    actions = action_at_fret(NECK, 12, relief_mm=0.2, **readings)
    assert list(np.isnan(actions)) == [False, True]
    assert np.isnan(height_at_nut(NECK, action_1_mm=0.5, bridge_rise_mm=None, saddle_mm=3.0))


READ = {"action_1_mm": 0.5, "bridge_rise_mm": 0.4, "saddle_mm": 3.0, "relief_mm": 0.2}


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: Neck(-1.0), "scale_length_mm must be more than 0, got -1"),
        (lambda: Neck(math.nan), "scale_length_mm must be more than 0, got nan"),
        (lambda: Neck(650.0, math.nan), "compensation_mm must be a finite number, got nan"),
        (lambda: Neck(650.0, -400.0), "scale_length_mm . compensation_mm, beyond the joint,"),
        (lambda: Neck(650.0, 0.0, 30), "joint_fret must be between 5 and 24, got 30"),
        (lambda: Neck(650.0, 0.0, 14, -9.0), "fretboard_radius_mm must be more than 0"),
        (
            lambda: Neck(650.0, 0.0, 14, 20.0),
            "half_spread_saddle_mm must lie within the fretboard_radius_mm 20",
        ),
        (
            lambda: Neck(650.0, 0.0, 14, 20.0, 1e6),
            "half_spread_nut_mm must lie within the fretboard_radius_mm 20",
        ),
        (
            lambda: rise_limit(NECK, target_action_12_mm=math.nan, saddle_floor_mm=1.6, **READ),
            "target_action_12_mm must be a finite number, got nan",
        ),
        (lambda: Neck(650.0, 0.0, 14, None, -1.0), "half_spread_nut_mm must be 0 or more, got -1"),
        (
            lambda: Neck(650.0, 0.0, 14, None, 1.0, math.inf),
            "half_spread_saddle_mm must be 0 or more, got inf",
        ),
        (lambda: action_at_fret(NECK, 40, **READ), "fret must be between 0 and 36, got 40"),
        (
            lambda: action_at_fret(NECK, 12, **READ | {"saddle_mm": math.inf}),
            "saddle_mm must be a finite number or missing, got inf",
        ),
        (
            lambda: action_at_fret(NECK, 12, **READ | {"relief_mm": math.inf}),
            "relief_mm must be a finite number or missing, got inf",
        ),
        (lambda: saddle_for_action(NECK, 0, 2.0, **READ), "fret must be more than 0, got 0"),
        (
            lambda: saddle_for_action(NECK, 12, math.nan, **READ),
            "wanted_action_mm must be a finite number, got nan",
        ),
        (
            lambda: rise_limit(NECK, target_action_12_mm=2.0, saddle_floor_mm=-1.0, **READ),
            "saddle_floor_mm must be 0 or more, got -1",
        ),
        (lambda: relief_step(math.nan), "relief_change_mm must be a finite number, got nan"),
    ],
)
def test_it_refuses_what_cannot_be(call, message):
    with pytest.raises(ValueError, match=message):
        call()
