"""Where an instrument stands between being received and being handed back.

A quick reading between two steps of work is a check-in as any other, so that the outlook and a joint's own
gain learn from it. Its stage is "as returned": of those since an instrument was received a report shows
the newest, so that in the end the full check-in stands there and until then what was last measured; "as
received" would instead make the report forget how the instrument came in. What marks it is the piece of
work that it judges, kept under ``AFTER_WORK`` beside what was typed: an instrument whose newest check-in
is such a one still waits on the bench.
"""

from datetime import datetime

from django.db.models import Q
from django.utils import timezone

from instruments.models import Instrument
from measurements.models import CheckIn, Stage, Work, WorkKind
from measurements.work.joint_reach import VISIT

#: The key in ``CheckIn.as_typed``: the uuid of the work after which it was read.
AFTER_WORK = "after_work"
BETWEEN_STEPS = Q(as_typed__has_key=AFTER_WORK)


def received_at(instrument: Instrument) -> datetime:
    """When this visit began: the newest check-in as received, or a month ago where there is none since."""
    since = timezone.now() - VISIT
    received = (
        CheckIn.objects.standing()
        .filter(instrument=instrument, stage=Stage.RECEIVED, measured_at__gte=since)
        .order_by("-measured_at", "-pk")
        .first()
    )
    return since if received is None else received.measured_at


def works_of_visit(instrument: Instrument) -> list[Work]:
    """Work logged since the instrument was received, in order."""
    since = received_at(instrument)
    works = Work.objects.standing().filter(instrument=instrument, done_at__gte=since)
    return list(works.order_by("done_at", "pk"))


def turned_in_visit(instrument: Instrument) -> list[float]:
    """Turns of the adjuster on this visit, in order; positive lowers the action."""
    return [
        work.turns
        for work in works_of_visit(instrument)
        if work.kind == WorkKind.JOINT and work.turns is not None
    ]


def next_stage(instrument: Instrument) -> Stage:
    """As returned where work was done since the newest check-in, or that was one between two steps."""
    newest = CheckIn.objects.standing().filter(instrument=instrument).last()
    if newest is None:
        return Stage.RECEIVED
    if AFTER_WORK in newest.as_typed and timezone.now() - newest.measured_at < VISIT:
        return Stage.RETURNED
    worked = Work.objects.standing().filter(instrument=instrument, done_at__gte=newest.measured_at)
    return Stage.RETURNED if worked.exists() else Stage.RECEIVED
