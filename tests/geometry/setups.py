"""Set-ups that several tests share; of our own invention."""

import numpy as np
from hypothesis import strategies as st

from geometry.action import Neck, action_at_fret
from geometry.readings import ADJUSTABLE, JOINT_KINDS, TURNED, Joint, Readings, Targets

# geometry.md section 2's neck: its worked rows are the outside values of test_action.
NECK = Neck(645.2, 2.5, 14, 406.4, 18.5, 27.0)
NUT = (0.58, 0.33)  # on target, so that advice passes the nut
TILTING = Joint("tilting", bolt_arm_mm=70.0, thread_pitch_mm=1.0, tilt_max_deg=2.0)
SHIMMED = Joint("shimmed", shims_mm=(0.25, 0.5, 0.75, 1.0))


def consistent(rise, saddle, *, relief=0.2, nut=NUT, neck=NECK) -> Readings:
    """Readings that agree: the action at fret 12 is the one that the others give."""
    action_12 = action_at_fret(
        neck, 12, action_1_mm=nut, bridge_rise_mm=rise, saddle_mm=saddle, relief_mm=relief
    )
    return Readings(nut, action_12, saddle, rise, relief)


def for_error(error, *, rise=1.0, saddle=(3.0, 3.0)) -> Readings:
    """Readings whose action at fret 12 is off its default target by ``error``, bass and treble."""
    action_12 = np.asarray(Targets().action_12_mm) + error
    return Readings(NUT, action_12, saddle, rise, 0.2)


# Anything a form might let through, contradictory or not.
maybe = st.floats(0, 8) | st.just(float("nan"))
any_readings = st.builds(
    Readings,
    st.tuples(st.floats(0, 2) | st.just(float("nan")), st.floats(0, 2)),
    st.tuples(maybe, maybe),
    st.tuples(maybe, maybe),
    st.floats(-6, 8) | st.just(float("nan")),
    st.floats(-0.5, 1.5) | st.just(float("nan")),
)
# Readings that advice takes all the way to the height.
height_readings = st.builds(
    lambda rise, bass, treble, relief: consistent(
        rise, (max(0.5, -rise) + bass, max(0.5, -rise) + treble), relief=relief
    ),
    st.floats(-3, 5),
    st.floats(0, 5),
    st.floats(0, 5),
    st.floats(0.1, 0.3),
)
any_targets = st.builds(
    Targets,
    action_12_mm=st.tuples(st.floats(1, 4), st.floats(1, 4)),
    saddle_floor_mm=st.floats(0, 2.5),
    action_tolerance_mm=st.floats(0.03, 0.4),
)
any_tilting = st.builds(
    lambda kind, now, low, high, **rest: Joint(
        kind, tilt_now_deg=now, tilt_min_deg=low, tilt_max_deg=low + high, **rest
    ),
    st.sampled_from(TURNED),
    st.floats(-2, 3),
    st.floats(-2, 0),
    st.floats(0, 4),
    bolt_arm_mm=st.floats(40, 120) | st.none(),
    thread_pitch_mm=st.sampled_from([0.7, 0.8, 1.0, 1.25]),
    one_way=st.booleans(),
    turn_step=st.sampled_from([1 / 8, 1 / 16]),
    rise_gain=st.floats(0.7, 1.4),
)
any_shimmed = st.builds(
    Joint,
    st.just("shimmed"),
    shims_mm=st.lists(st.sampled_from([0.25, 0.4, 0.5, 0.75, 1.0]), max_size=4).map(tuple),
    shim_now_mm=st.sampled_from([0.0, 0.25, 0.5]),
    one_way=st.booleans(),
)
any_fixed = st.builds(
    Joint, st.sampled_from([kind for kind in JOINT_KINDS if kind not in ADJUSTABLE])
)
any_joint = any_tilting | any_shimmed | any_fixed
