"""Where a neck joint stood before and after each logged turn of its bolt."""

from collections.abc import Callable, Sequence

from django.utils.translation import gettext as _

from geometry.joint import tilt_after_turns
from instruments.defaults import joint_dimension
from instruments.models import ADJUSTABLE, TURNED, JointKind, NeckJoint
from measurements.old_records.columns import TILT_DEG, shown
from measurements.old_records.rows import Row
from measurements.old_records.stored import Turned

SLACK_DEG = 0.01  # figures in a log are rounded
MISMATCH_DEG = 0.05  # about 1/16 turn: a given tilt this far from the logged turns is worth a word
MOVABLE = (*ADJUSTABLE, JointKind.BOLTED)

Say = Callable[[Row, str, str], None]  # row, key of the column, what is wrong or odd


def follow_tilt(
    joint: NeckJoint, rows: Sequence[Row], turned: Sequence[Turned], *, wrong: Say, odd: Say
) -> float:
    """Give every row with turns its tilt before and after; returns where the joint stands in the end.

    ``rows`` are new and in order of time, ``turned`` what is on record already. A given tilt counts
    from its row on; without one the turns on record go on, and a joint nobody described stands at 0.
    """
    events = list(turned)
    known = bool(events) or joint.pk is not None
    now = events[0][1] if events else joint.tilt_now_deg
    change = 0.0
    given_last: Row | None = None
    for row in rows:
        while events and events[0][0] <= row.measured_at:
            now = events.pop(0)[2]
        if row.tilt_now_deg is not None:
            if not _allowed(joint, row, wrong):
                continue
            if known and abs(row.tilt_now_deg - now) > MISMATCH_DEG:
                odd(row, "tilt_now_deg", _unexpected(row.tilt_now_deg, now))
            now, given_last = row.tilt_now_deg, row
        known = True
        if row.turns is not None and _turn(joint, row, now, wrong):
            assert row.tilt_to_deg is not None  # noqa: S101  set by _turn
            change += row.tilt_to_deg - now
            now = row.tilt_to_deg
    if given_last is not None:
        # Where tilts are given, turns made before those on record were in them already.
        return joint.tilt_now_deg if events else now
    final = joint.tilt_now_deg + change
    movers = [row for row in rows if row.turns is not None]
    if movers and not _within(joint, final):
        wrong(movers[-1], "turns", _beyond(joint, final))
    return final


def _allowed(joint: NeckJoint, row: Row, wrong: Say) -> bool:
    tilt = row.tilt_now_deg or 0.0
    if joint.kind not in MOVABLE and tilt:
        wrong(row, "tilt_now_deg", _("a glued joint has no tilt; give joint_kind as well"))
    elif not _within(joint, tilt):
        why = _("%(tilt)s is %(limit)s") % {"tilt": shown(tilt, "°"), "limit": _limit(joint, tilt)}
        wrong(row, "tilt_now_deg", why)
    else:
        return True
    return False


def _turn(joint: NeckJoint, row: Row, now: float, wrong: Say) -> bool:
    if joint.kind not in TURNED:
        why = _("turns need an adjustable joint, but this one is %(kind)s; give joint_kind tilting")
        wrong(row, "turns", why % {"kind": joint.kind})
        return False
    pitch = joint_dimension("thread_pitch_mm", joint.thread_pitch_mm)
    arm = joint_dimension("bolt_arm_mm", joint.bolt_arm_mm)
    try:
        after = float(tilt_after_turns(row.turns or 0.0, pitch, arm, now))
    except ValueError:
        why = _("%(figure)s turns carry the joint past a right angle")
        wrong(row, "turns", why % {"figure": shown(row.turns or 0.0, "")})
        return False
    if not _within(joint, after):
        wrong(row, "turns", _beyond(joint, after))
        return False
    row.tilt_from_deg, row.tilt_to_deg = now, after
    return True


def _within(joint: NeckJoint, tilt: float) -> bool:
    most = TILT_DEG[1] if joint.tilt_max_deg is None else joint.tilt_max_deg
    return joint.tilt_min_deg - SLACK_DEG <= tilt <= most + SLACK_DEG


def _unexpected(given: float, expected: float) -> str:
    return _("%(given)s given, %(expected)s expected from the turns logged") % {
        "given": shown(given, "°"),
        "expected": shown(expected, "°"),
    }


def _limit(joint: NeckJoint, tilt: float) -> str:
    """Which limit a tilt is outside of; ends a sentence that names the tilt."""
    if tilt < joint.tilt_min_deg:
        least = shown(joint.tilt_min_deg, "°")
        return _("below the least tilt, %(least)s") % {"least": least}
    if joint.tilt_max_deg is None:
        return _("beyond the %(most)s that any joint can have") % {"most": shown(TILT_DEG[1], "°")}
    return _("beyond tilt_max_deg, %(most)s") % {"most": shown(joint.tilt_max_deg, "°")}


def _beyond(joint: NeckJoint, tilt: float) -> str:
    why = (
        _("they lead to a tilt of %(tilt)s, %(limit)s")
        if tilt > joint.tilt_min_deg
        else _(
            "they lead to a tilt of %(tilt)s, %(limit)s; give tilt_now_deg if it did not start at 0"
        )
    )
    return why % {"tilt": shown(tilt, "°"), "limit": _limit(joint, tilt)}
