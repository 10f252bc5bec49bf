"""Stores outlooks: of the whole fleet chunk by chunk, or of one instrument after a fact was saved.

Facts are committed before anything here runs; a fault here is logged and marks the outlook as out of
date, and never costs a reading.
"""

import logging
from collections.abc import Callable, Iterable, Iterator
from datetime import date

from django.db import transaction
from django.utils import timezone

from instruments.models import Instrument
from measurements.models import Outlook, ShopPrior
from measurements.outlooks import MODEL_VERSION, compute
from measurements.prior import learn
from measurements.rows import lock
from measurements.statements import only_row
from shop.models import ShopProfile

log = logging.getLogger(__name__)

CHUNK = 2000
STORED = [
    field.name for field in Outlook._meta.concrete_fields if field.name not in ("id", "instrument")
]


def refresh(
    ids: Iterable[int] | None = None,
    *,
    as_of: date | None = None,
    resume: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> int:
    """Recompute and store outlooks, chunk by chunk; returns how many.

    ``ids`` None is the whole fleet; ``resume`` leaves out those made for that day since the shop's prior
    was last learnt, so that an interrupted run goes on where it stopped. Each chunk is one transaction
    under a lock on its instruments' rows, so that two machines at it never write an older outlook over a
    newer one.
    """
    keys = _keys(as_of or timezone.localdate(), resume) if ids is None else list(ids)
    profile = ShopProfile.current()
    for start, chunk in _chunks(keys):
        _store(chunk, as_of, profile)
        if progress is not None:
            progress(start + len(chunk), len(keys))
    return len(keys)


def _store(ids: list[int], as_of: date | None, profile: ShopProfile) -> list[Outlook]:
    """Compute and store the outlooks of those of the instruments that there still are."""
    with transaction.atomic():
        return Outlook.objects.bulk_create(
            _compute_what_can_be(lock(ids), as_of, profile),
            update_conflicts=True,
            unique_fields=["instrument"],
            update_fields=STORED,
        )


def _keys(as_of: date, resume: bool) -> list[int]:
    """The fleet's keys in order, without those whose outlook is up to date if ``resume``."""
    fleet = Instrument.objects.order_by("pk")
    if resume:
        fresh = Outlook.objects.filter(as_of=as_of, model_version=MODEL_VERSION, out_of_date=False)
        learnt = ShopPrior.objects.filter(pk=1).values_list("learnt_at", flat=True).first()
        if learnt is not None:
            fresh = fresh.filter(computed_at__gte=learnt)
        fleet = fleet.exclude(pk__in=fresh.values("instrument"))
    return list(fleet.values_list("pk", flat=True))


def learn_from_fleet(
    *, as_of: date | None = None, progress: Callable[[int, int], None] | None = None
) -> ShopPrior | None:
    """Learn the shop's own prior from every instrument; None where too few are measured."""
    keys = _keys(as_of or timezone.localdate(), resume=False)
    done = 0

    def report(count: int) -> None:
        nonlocal done
        done += count
        if progress is not None:
            progress(done, len(keys))

    chunks = [chunk for _, chunk in _chunks(keys)]
    return learn(chunks, as_of or timezone.localdate(), ShopProfile.current(), report)


def _compute_what_can_be(ids: list[int], as_of: date | None, profile: ShopProfile) -> list[Outlook]:
    """Outlooks of a chunk; an instrument whose figures cannot be must not stop the others."""
    try:
        return compute(ids, as_of, profile)
    except ValueError:
        if len(ids) == 1:
            log.exception("outlook of instrument %s not computed", ids[0])
            return [_out_of_date(ids[0], as_of)]
    middle = len(ids) // 2
    halves = (ids[:middle], ids[middle:])
    return [outlook for half in halves for outlook in _compute_what_can_be(half, as_of, profile)]


def _out_of_date(key: int, as_of: date | None) -> Outlook:
    """What is stored where nothing could be computed: it says so, and claims nothing."""
    return Outlook(
        instrument_id=key,
        model_version=MODEL_VERSION,
        fingerprint="",
        as_of=as_of or timezone.localdate(),
        computed_at=timezone.now(),
        out_of_date=True,
    )


def refresh_after(instrument: Instrument) -> bool:
    """Refresh one outlook after a fact was saved; on a fault say so, and never raise."""
    try:
        profile = only_row(ShopProfile) or ShopProfile.current()
        stored = _store([instrument.pk], None, profile)
    except Exception:  # the fact is saved; whatever broke must not take it back
        log.exception("outlook of instrument %s not refreshed", instrument.pk)
        if not Outlook.objects.filter(instrument=instrument).update(out_of_date=True):
            _out_of_date(instrument.pk, None).save()
        return False
    return not any(outlook.out_of_date for outlook in stored)


def _chunks(keys: list[int]) -> Iterator[tuple[int, list[int]]]:
    for start in range(0, len(keys), CHUNK):
        yield start, keys[start : start + CHUNK]
