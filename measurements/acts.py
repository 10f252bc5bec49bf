"""The only place that writes facts: each act is atomic, checks what it is given, and loses nothing.

Outlooks are refreshed after the facts are committed (``measurements.forecast.refreshing``), so that a fault
in the forecast can never cost a reading.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from instruments.models import Instrument, NeckJoint
from measurements.models import ActionReading, CheckIn, Voidable, Work, WorkKind
from shop.checking import create_checked, save_checked
from shop.figures import day_words
from shop.models import User
from shop.texts import plain_line

Place = tuple[int, str]  # fret, side


@transaction.atomic
def record_check_in(
    *,
    instrument: Instrument,
    measured_at: datetime,
    by: User | None,
    stage: str,
    actions_mm: Mapping[Place, float],
    uuid: UUID | None = None,
    replaces: CheckIn | None = None,
    reason: str = "",
    **facts: Any,
) -> CheckIn:
    """Save one check-in with its action readings; a repeated ``uuid`` gives the first one back.

    ``replaces`` voids an earlier check-in with ``reason`` in the same act.
    Raises ``ValidationError`` naming the field when a fact is impossible.
    """
    Instrument.objects.select_for_update().get(pk=instrument.pk)  # one writer at a time
    uuid = uuid or uuid4()
    already = CheckIn.objects.filter(uuid=uuid).first()
    if already is not None:
        if already.instrument_id != instrument.pk:
            raise ValidationError(_("This check-in was already saved for another instrument."))
        return already
    if replaces is not None:
        void(replaces, by=by, reason=reason)
    check_in = CheckIn(
        uuid=uuid,
        instrument=instrument,
        measured_at=measured_at,
        measured_by=by,
        stage=stage,
        replaces=replaces,
        **facts,
    )
    save_checked(check_in, held=("instrument", "measured_by", "replaces"))
    readings = [
        ActionReading(check_in=check_in, fret=fret, side=side, action_mm=value)
        for (fret, side), value in sorted(actions_mm.items())
    ]
    create_checked(readings, held=("check_in",))
    return check_in


@transaction.atomic
def record_work(
    *,
    instrument: Instrument,
    kind: str,
    done_at: datetime,
    by: User | None,
    uuid: UUID | None = None,
    **facts: Any,
) -> Work:
    """Save one piece of work; for the neck joint also where its setting stands now."""
    Instrument.objects.select_for_update().get(pk=instrument.pk)  # one writer at a time
    uuid = uuid or uuid4()
    already = Work.objects.filter(uuid=uuid).first()
    if already is not None:
        if already.instrument_id != instrument.pk:
            raise ValidationError(_("This work was already saved for another instrument."))
        if (kind, facts.get("as_typed", {}), facts.get("notes", "")) != (
            already.kind,
            already.as_typed,
            already.notes,
        ):
            raise ValidationError(
                _(
                    "This work was logged before, with other figures. What is logged stands: open it "
                    "from the instrument's page, void it there and log what was really done."
                )
            )
        return already
    if kind == WorkKind.JOINT:
        joint = NeckJoint.objects.select_for_update().get(instrument=instrument)
        facts.setdefault("tilt_from_deg", joint.tilt_now_deg)
        joint.tilt_now_deg += facts["tilt_to_deg"] - facts["tilt_from_deg"]
        if facts.get("shim_to_mm") is not None:
            facts.setdefault("shim_from_mm", joint.shim_now_mm)
            joint.shim_now_mm = facts["shim_to_mm"]
        joint.full_clean()
        joint.save()
        _count_edit(instrument.pk)
    if kind == WorkKind.RELIEF and facts.get("relief_from_mm") is None:
        facts["relief_from_mm"] = _relief_before(instrument, done_at)
    work = Work(uuid=uuid, instrument=instrument, kind=kind, done_at=done_at, done_by=by, **facts)
    save_checked(work, held=("instrument", "done_by"))
    return work


def _relief_before(instrument: Instrument, moment: datetime) -> float | None:
    """The relief last read or set before a moment; what a change of relief did rests on it."""
    read = CheckIn.objects.standing().filter(
        instrument=instrument, measured_at__lte=moment, relief_mm__isnull=False
    )
    done = Work.objects.standing().filter(
        instrument=instrument, done_at__lte=moment, relief_to_mm__isnull=False
    )
    known = [
        *read.order_by("-measured_at", "-pk").values_list("measured_at", "relief_mm")[:1],
        *done.order_by("-done_at", "-pk").values_list("done_at", "relief_to_mm")[:1],
    ]
    return max(known)[1] if known else None


@transaction.atomic
def void(fact: Voidable, *, by: User | None, reason: str) -> None:
    """Declare a check-in or a piece of work wrong; it stays on record, struck out."""
    reason = plain_line(reason)
    if not reason:
        raise ValidationError({"reason": _("Say why: the record keeps the reason.")})
    if by is None:
        raise ValidationError(_("Only a person can void a record."))
    fresh = type(fact)._default_manager.select_for_update().get(pk=fact.pk)
    if fresh.voided_at is not None:
        raise ValidationError(
            _("%(record)s was voided before, on %(day)s.")
            % {"record": fresh, "day": day_words(fresh.voided_at)}
        )
    fresh.voided_at, fresh.voided_by, fresh.void_reason = timezone.now(), by, reason[:400]
    fresh.save(update_fields=["voided_at", "voided_by", "void_reason"])
    if isinstance(fresh, Work) and fresh.kind == WorkKind.JOINT:
        _take_back(fresh)
    fact.refresh_from_db()


def _take_back(work: Work) -> None:
    """Set the joint back by what a voided adjustment had moved it."""
    joint = NeckJoint.objects.select_for_update().get(instrument=work.instrument_id)
    if work.shim_to_mm is not None:
        later = Work.objects.standing().filter(
            instrument=work.instrument_id, kind=WorkKind.JOINT, done_at__gt=work.done_at
        )
        if later.exists():
            raise ValidationError(
                _("A later shim stands on this one: void the newest first, then work backwards.")
            )
        joint.shim_now_mm = work.shim_from_mm or 0.0
    joint.tilt_now_deg -= (work.tilt_to_deg or 0.0) - (work.tilt_from_deg or 0.0)
    joint.full_clean()
    joint.save()
    _count_edit(work.instrument_id)


def _count_edit(key: int) -> None:
    """The joint stands otherwise now: a form opened before must not put back what it shows."""
    Instrument.objects.filter(pk=key).update(version=F("version") + 1)
