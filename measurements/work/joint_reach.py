"""How far a joint goes: the tilt that turns or another shim lead to, and what is left of its travel."""

from datetime import timedelta

import numpy as np
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from geometry.joint import bolt_travel, shim_tilt, tilt_after_turns
from geometry.moves import HAIR
from geometry.units import LengthUnit
from instruments.defaults import joint_dimension
from instruments.models import SETTINGS, Instrument, NeckJoint
from measurements.models import Work, WorkKind
from measurements.words import angle_words
from shop.figures import length_words, localized, turns_figure, turns_words

EIGHTHS = 8
Limits = tuple[float, float, float]  # tilt now, least and most [°]
#: A turn of this visit may be taken back, also on a joint that otherwise goes one way only.
VISIT = timedelta(days=30)


def tilt_to_go_back_to(instrument: Instrument) -> float | None:
    """Where the joint stood before the adjustments of the last 30 days; None without any."""
    first = (
        Work.objects.standing()
        .filter(
            instrument=instrument,
            kind=WorkKind.JOINT,
            done_at__gte=timezone.now() - VISIT,
            tilt_to_deg__gt=F("tilt_from_deg"),
        )
        .order_by("done_at", "pk")
        .first()
    )
    return None if first is None else first.tilt_from_deg


def tilt_for_shim(joint: NeckJoint, shim_mm: float, unit: LengthUnit) -> float:
    """Tilt to which another shim leads. [°]

    Raises ``ValueError`` where it is in place already, or no neck could take it.
    """
    shim, now = length_words(shim_mm, unit), joint.tilt_now_deg
    if shim_mm == joint.shim_now_mm:
        raise ValueError(_("A shim of %(shim)s is in place already.") % {"shim": shim})
    depth = joint_dimension("heel_depth_mm", joint.heel_depth_mm)
    after = now + float(shim_tilt(shim_mm, depth, joint.shim_now_mm))
    least, most = SETTINGS["tilt_now_deg"]
    if not least <= after <= most:
        raise ValueError(
            _(
                "A shim of %(shim)s takes the tilt from %(now)s to %(after)s; "
                "no neck goes beyond %(most)s. Check the thickness and its unit."
            )
            % {
                "shim": shim,
                "now": angle_words(now),
                "after": angle_words(after),
                "most": angle_words(most),
            }
        )
    return after


def tilt_for_turns(joint: NeckJoint, turns: float, limits: Limits | None = None) -> float:
    """Tilt to which turns of the adjuster lead, positive ones lowering the action. [°]

    ``limits`` are those of ``joint_limits``, where they are at hand. Raises ``ValueError`` where the turns
    lead beyond the joint's travel, saying how many it has left.
    """
    now, least, most = limits = limits or joint_limits(joint)
    try:
        after = float(
            tilt_after_turns(
                turns,
                joint_dimension("thread_pitch_mm", joint.thread_pitch_mm),
                joint_dimension("bolt_arm_mm", joint.bolt_arm_mm),
                now,
            )
        )
    except ValueError as error:
        words = _("Turns %(turns)s: %(reach)s") % _said(joint, turns, limits)
        raise ValueError(words) from error
    # A hair past a limit is the last digit of a float.
    if (after > most + HAIR and after > now) or (after < least - HAIR and after < now):
        raise ValueError(
            _("Turns %(turns)s: that takes the tilt from %(now)s to %(after)s; %(reach)s")
            % (_said(joint, turns, limits) | {"now": angle_words(now), "after": angle_words(after)})
        )
    return after


def _said(joint: NeckJoint, turns: float, limits: Limits) -> dict[str, str]:
    return {"turns": localized(f"{abs(turns):.3g}"), "reach": reach_words(joint, limits)}


def reach_words(joint: NeckJoint, limits: Limits | None = None) -> str:
    """``this joint has 2 3/8 turns left to lower the action, 1/4 to raise it.``; each rounded down."""
    now, least, most = limits or joint_limits(joint)
    arm = joint_dimension("bolt_arm_mm", joint.bolt_arm_mm)
    pitch = joint_dimension("thread_pitch_mm", joint.thread_pitch_mm)

    def left(change_deg: float) -> float:
        turns = abs(float(bolt_travel(change_deg, arm, now))) / pitch
        return float(np.floor(turns * EIGHTHS + 1e-6) / EIGHTHS)

    return _("this joint has %(lower)s left to lower the action, %(raise)s to raise it.") % {
        "lower": turns_words(left(max(most - now, 0.0))),
        "raise": turns_figure(left(min(least - now, 0.0))),
    }


def joint_limits(joint: NeckJoint) -> Limits:
    """Tilt now, least and most, in degrees; a one-way joint goes back only what was just turned."""
    least = joint.tilt_min_deg
    if joint.one_way:
        earlier = tilt_to_go_back_to(joint.instrument)
        least = joint.tilt_now_deg if earlier is None else earlier
    return joint.tilt_now_deg, least, joint_dimension("tilt_max_deg", joint.tilt_max_deg)
