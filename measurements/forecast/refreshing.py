"""Stores outlooks: of the whole fleet chunk by chunk, or of one instrument after a fact was saved.

Facts are committed before anything here runs; a fault here is logged and marks the outlook as out of
date, and never costs a reading.
"""

import logging
from collections.abc import Callable, Iterable, Iterator
from contextlib import nullcontext
from datetime import date, datetime

from django.db import DatabaseError, connection, transaction
from django.db.models import QuerySet
from django.utils import timezone

from instruments.models import Instrument
from measurements.facts.rows import lock
from measurements.forecast.outlooks import MODEL_VERSION, compute
from measurements.forecast.prior import is_newer, learn
from measurements.models import Outlook, ShopPrior
from shop.models import ShopProfile
from shop.statements import only_row

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
    since: datetime | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> int:
    """Recompute and store outlooks, chunk by chunk; returns how many this call computed.

    ``ids`` None is the whole fleet. Several machines may be at that at once: each takes the chunks that
    nobody else holds, and leaves out what another has computed ``since`` (the start of this call if not
    given). ``resume`` leaves out those made for that day since the shop's prior was last learnt, so that
    an interrupted run goes on where it stopped. Each chunk is one transaction under a lock on its
    instruments' rows, so that two machines at it never write an older outlook over a newer one.
    """
    if ids is None:
        return _refresh_fleet(as_of or timezone.localdate(), resume, since, progress)
    keys = list(ids)
    for start, chunk in _chunks(keys):
        _store(chunk, as_of)
        if progress is not None:
            progress(start + len(chunk), len(keys))
    return len(keys)


def _refresh_fleet(
    as_of: date,
    resume: bool,
    since: datetime | None,
    progress: Callable[[int, int], None] | None,
) -> int:
    """First the chunks that are free, then, waiting for them, those that another held."""
    began = timezone.now()
    fresh = _made(as_of, _learnt_at() if resume else since or began)
    fleet = Instrument.objects.order_by("pk")
    if resume:
        fleet = fleet.exclude(pk__in=fresh.values("instrument"))
    # What could not be computed is not tried again by every machine at it.
    fresh |= _made(as_of, began, out_of_date=True).filter(fingerprint="")
    keys = left = list(fleet.values_list("pk", flat=True))
    computed = passed = 0
    for wait in (False, True):
        held: list[int] = []
        for _, chunk in _chunks(left):
            stored, seen = _store(chunk, as_of, fresh=fresh, wait=wait)
            missed = [] if wait else sorted(set(chunk) - set(seen))
            held += missed
            computed += len(stored)
            passed += len(chunk) - len(missed)
            if progress is not None:
                progress(passed, len(keys))
        left = held
    return computed


def _store(
    ids: list[int],
    as_of: date | None,
    *,
    profile: ShopProfile | None = None,
    fresh: QuerySet[Outlook] | None = None,
    wait: bool = True,
) -> tuple[list[Outlook], list[int]]:
    """Compute and store outlooks of those of the instruments that there still are, but not the fresh.

    Returns what was stored, and the keys that were locked. The moment an outlook bears is one before
    anything was read for it: what changed later than that may not be in it.
    """
    with transaction.atomic():
        locked = wanted = lock(ids, wait=wait)
        if fresh is not None:
            made = set(fresh.filter(instrument__in=locked).values_list("instrument", flat=True))
            wanted = [key for key in locked if key not in made]
        moment = timezone.now()
        profile = profile or only_row(ShopProfile) or ShopProfile.current()
        outlooks = _compute_what_can_be(wanted, as_of, profile) if wanted else []
        for outlook in outlooks:
            outlook.computed_at = moment
        stored = Outlook.objects.bulk_create(
            outlooks,
            update_conflicts=True,
            unique_fields=["instrument"],
            update_fields=STORED,
        )
    return stored, locked


def _made(as_of: date, after: datetime | None, *, out_of_date: bool = False) -> QuerySet[Outlook]:
    """Outlooks made for a day by this version, and after a moment if one is given."""
    made = Outlook.objects.filter(as_of=as_of, model_version=MODEL_VERSION, out_of_date=out_of_date)
    return made if after is None else made.filter(computed_at__gt=after)


def _learnt_at() -> datetime | None:
    return ShopPrior.objects.filter(pk=1).values_list("learnt_at", flat=True).first()


def learn_from_fleet(
    *,
    as_of: date | None = None,
    unless_since: datetime | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> ShopPrior | None:
    """Learn the shop's own prior from every instrument; None where too few are measured.

    What another machine learnt after ``unless_since`` is taken as it is; where the database locks rows,
    one that is at it is waited for.
    """
    day = as_of or timezone.localdate()
    with transaction.atomic() if connection.features.has_select_for_update else nullcontext():
        stored = _known_prior()
        if stored and is_newer(stored, day, unless_since):
            return stored
        keys = list(Instrument.objects.order_by("pk").values_list("pk", flat=True))
        done = 0

        def report(count: int) -> None:
            nonlocal done
            done += count
            if progress is not None:
                progress(done, len(keys))

        chunks = [chunk for _, chunk in _chunks(keys)]
        return learn(chunks, day, ShopProfile.current(), report, unless_since)


def _known_prior() -> ShopPrior | None:
    """What was learnt last, locked where rows can be: SQLite would hold up everybody who saves."""
    known = ShopPrior.objects.filter(pk=1)
    return (known.select_for_update() if connection.in_atomic_block else known).first()


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
        stored, _ = _store([instrument.pk], None, profile=profile)
    except Exception:  # the fact is saved; whatever broke must not take it back
        log.exception("outlook of instrument %s not refreshed", instrument.pk)
        try:
            if not Outlook.objects.filter(instrument=instrument).update(out_of_date=True):
                _out_of_date(instrument.pk, None).save()
        except DatabaseError:  # where nothing can be written, the person is still told
            log.exception("outlook of instrument %s not marked as out of date", instrument.pk)
        return False
    return not any(outlook.out_of_date for outlook in stored)


def _chunks(keys: list[int]) -> Iterator[tuple[int, list[int]]]:
    for start in range(0, len(keys), CHUNK):
        yield start, keys[start : start + CHUNK]
