"""What the shop's own instruments teach of lift, learnt over the whole fleet and kept for every fit.

Learning rests on facts alone and always starts from the planning defaults, so that learning twice from
the same facts gives the same.
"""

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from datetime import date, datetime
from functools import cache, lru_cache
from typing import Any

import numpy as np
from django.db import connection, transaction
from django.utils import timezone

from geometry.fleet import FleetPrior, learn_prior
from geometry.lift import LiftFit, LiftPrior
from measurements.facts.arrays import Facts, gather
from measurements.facts.fits import Lifts
from measurements.models import ShopPrior
from shop.models import ShopProfile
from shop.statements import Statement

#: With fewer instruments measured, a shop goes by the planning defaults. Planning default, no source.
LEAST_INSTRUMENTS = 12


def group_of(row: dict[str, Any]) -> str:
    """Instruments of one top wood, bracing and kind of strings learn from one another."""
    words = (row["top_wood"], row["bracing"], row["strings"])
    return "|".join(word.strip().casefold() for word in words)


def learn(
    chunks: Sequence[Sequence[int]],
    as_of: date,
    profile: ShopProfile,
    progress: Callable[[int], None] | None = None,
    unless_since: datetime | None = None,
) -> ShopPrior | None:
    """Learn from all instruments and store it; None, and nothing stored, where there are too few.

    Of two who learn at once and would both take what was learnt after ``unless_since``, the first to
    store it gives it to both.
    """
    histories: list[Lifts] = []
    labels: list[str] = []
    measured = 0
    for ids in chunks:
        facts = gather(ids, as_of, profile)
        histories.append(Lifts.of(facts))  # the rest of the facts is let go
        labels += [group_of(row) for row in facts.rows.instruments]
        measured += int(np.count_nonzero(facts.readings))
        if progress is not None:
            progress(len(ids))
    if measured < LEAST_INSTRUMENTS:
        ShopPrior.objects.all().delete()
        return None

    def fits(prior: LiftPrior) -> Iterator[LiftFit]:
        return (history.fit(prior) for history in histories)

    learnt = learn_prior(fits, labels)
    stored = ShopPrior(
        pk=1,
        learnt_at=timezone.now(),
        as_of=as_of,
        instruments=learnt.instruments,
        shop=asdict(learnt.shop),
        groups={str(label): asdict(prior) for label, prior in learnt.groups.items()},
        counts={str(label): count for label, count in learnt.counts.items()},
    )
    return _keep(stored, unless_since)


@transaction.atomic
def _keep(learnt: ShopPrior, unless_since: datetime | None) -> ShopPrior:
    known = ShopPrior.objects.select_for_update().filter(pk=1).first()
    if known is None:
        ShopPrior.objects.bulk_create([learnt], ignore_conflicts=True)  # another may be as fast
    elif not is_newer(known, learnt.as_of, unless_since):
        learnt.save()
    return ShopPrior.objects.get(pk=1)


def is_newer(known: ShopPrior, as_of: date, since: datetime | None) -> bool:
    """Whether a stored prior was learnt for that day and after that moment."""
    return since is not None and known.as_of == as_of and known.learnt_at > since


def prior_for(facts: Facts) -> LiftPrior | None:
    """The learnt prior, a row for each instrument; None, the planning defaults, where nothing is learnt."""
    stored = _stored(connection.vendor).fetch()
    if not stored:
        return None
    return _fleet_prior(*stored[0]).prior_for([group_of(row) for row in facts.rows.instruments])


@cache
def _stored(vendor: str) -> Statement:
    """What was learnt, each part as the text in which the database keeps it."""
    return Statement.of(
        ShopPrior.objects.filter(pk=1).values_list("shop", "groups", "counts", "instruments")
    )


@lru_cache(maxsize=1)
def _fleet_prior(shop: str, groups: str, counts: str, instruments: int) -> FleetPrior:
    """The same texts are read once, not at every refresh."""
    return FleetPrior(
        shop=LiftPrior(**json.loads(shop)),
        groups={label: LiftPrior(**values) for label, values in json.loads(groups).items()},
        counts=json.loads(counts),
        instruments=instruments,
    )


def rows_of(prior: LiftPrior | None, rows: np.ndarray) -> LiftPrior | None:
    """The rows of some instruments of a prior made by :func:`prior_for`."""
    return None if prior is None else prior.take(rows)
