"""What an earlier import or the shop already holds of the rows of a file."""

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.db.models import Q
from django.utils.translation import gettext as _

from instruments.models import Instrument
from measurements.facts.rows import CHECK_IN_COLUMNS
from measurements.models import CheckIn, Work, WorkKind
from measurements.old_records.columns import read_angle
from measurements.old_records.rows import Row

CHUNK = 500
TOLERANCE = 1e-6
Turned = tuple[datetime, float, float]  # when, tilt before, tilt after


@dataclass
class Stored:
    """Instruments by tag, earlier check-ins by identity, and the turns on record."""

    instruments: dict[str, Instrument]
    check_ins: dict[UUID, CheckIn]
    successors: dict[int, CheckIn]
    works: dict[UUID, Work]
    turned: dict[int, list[Turned]]

    def verdict(self, row: Row) -> tuple[bool, str]:
        """Whether the row is on record already, and why it cannot be added (empty: it can).

        A voided check-in with other values gives way: the row is then marked to replace it.
        """
        held = self.check_ins.get(row.uuid)
        if held is None:
            return False, ""
        while True:
            if not self._differing(row, held):
                return True, ""
            if held.voided_at is None:
                return False, self._difference(row, held)
            successor = self.successors.get(held.pk)
            if successor is None:
                break
            held = successor
        work = self.works.get(uuid5(held.uuid, "turns"))
        if work is not None and work.voided_at is None:
            return False, _(
                "replaces a voided check-in whose turns still stand; void that work too"
            )
        row.uuid, row.replaces = uuid5(held.uuid, "again"), held.pk
        return False, ""

    def _difference(self, row: Row, held: CheckIn) -> str:
        names = ", ".join(self._differing(row, held))
        return _(
            "is on record already with another %(columns)s (%(tag)s, %(day)s, %(stage)s); to correct "
            "a record, void it first"
        ) % {
            "columns": names,
            "tag": held.instrument.tag,
            "day": row.day,
            "stage": held.get_stage_display(),
        }

    def _differing(self, row: Row, held: CheckIn) -> list[str]:
        names = [
            name for name in CHECK_IN_COLUMNS if not alike(row.facts.get(name), getattr(held, name))
        ]
        actions = {(a.fret, a.side): a.action_mm for a in held.action_readings.all()}
        names += [
            f"action_{fret}_{side}_mm"
            for fret, side in sorted(actions.keys() | row.actions.keys())
            if not alike(row.actions.get((fret, side)), actions.get((fret, side)))
        ]
        if not names and is_imported(held):
            work = self.works.get(uuid5(held.uuid, "turns"))
            if not alike(row.turns, work.turns if work else None):
                names.append("turns")
            if not alike(row.tilt_now_deg, _typed_tilt(held)):
                names.append("tilt_now_deg")
            if row.notes != held.notes:
                names.append("notes")
        return names


def is_imported(check_in: CheckIn) -> bool:
    """Identities made from text are of version 5; those made at a form are random."""
    return check_in.uuid.version == 5


def alike(a: float | None, b: float | None) -> bool:
    if a is None or b is None:
        return a is b
    return math.isclose(a, b, rel_tol=TOLERANCE, abs_tol=TOLERANCE)


def same(held: Any, value: Any) -> bool:
    """Whether two values of a field are one; figures as ``alike`` has it."""
    if isinstance(held, float) or isinstance(value, float):
        return alike(held, value)
    return bool(held == value)


def _typed_tilt(check_in: CheckIn) -> float | None:
    text = check_in.as_typed.get("tilt_now_deg")
    return None if text is None else read_angle(text)


def look_up(rows: Sequence[Row]) -> Stored:
    """Read what the database holds of these rows; inside a transaction it is locked."""
    instruments = _instruments({row.key for row in rows}, {row.tag for row in rows})
    check_ins = {
        held.uuid: held
        for chunk in chunks([row.uuid for row in rows])
        for held in _held(uuid__in=chunk)
    }
    successors: dict[int, CheckIn] = {}
    voided = [held.pk for held in check_ins.values() if held.voided_at is not None]
    while voided:
        found = [held for chunk in chunks(voided) for held in _held(replaces__in=chunk)]
        successors |= {held.replaces_id: held for held in found if held.replaces_id is not None}
        voided = [held.pk for held in found if held.voided_at is not None]
    identities = [uuid5(held.uuid, "turns") for held in [*check_ins.values(), *successors.values()]]
    works = {
        work.uuid: work
        for chunk in chunks(identities)
        for work in Work.objects.filter(uuid__in=chunk)
    }
    return Stored(instruments, check_ins, successors, works, _turned(instruments.values()))


def _held(**condition: Any) -> Iterable[CheckIn]:
    return (
        CheckIn.objects.filter(Q(**condition))
        .select_related("instrument")
        .prefetch_related("action_readings")
    )


def _instruments(keys: set[str], tags: set[str]) -> dict[str, Instrument]:
    """Instruments by upper-case tag. SQLite folds only plain letters, so Python does the folding."""
    wanted: dict[int, str] = {}
    for pk, tag in Instrument.objects.order_by("-pk").values_list("pk", "tag"):
        if tag.upper() in keys:
            wanted[pk] = tag
    found: dict[str, Instrument] = {}
    for chunk in chunks(list(wanted)):
        locked = Instrument.objects.select_for_update(of=("self",)).filter(pk__in=chunk)
        for instrument in locked.select_related("joint", "customer"):
            key = instrument.tag.upper()
            if key not in found or instrument.tag in tags:
                found[key] = instrument
    return found


def _turned(instruments: Iterable[Instrument]) -> dict[int, list[Turned]]:
    turned: dict[int, list[Turned]] = defaultdict(list)
    for chunk in chunks([instrument.pk for instrument in instruments]):
        works = Work.objects.standing().filter(instrument__in=chunk, kind=WorkKind.JOINT)
        for pk, when, before, after in works.order_by("done_at", "pk").values_list(
            "instrument_id", "done_at", "tilt_from_deg", "tilt_to_deg"
        ):
            turned[pk].append((when, before or 0.0, after or 0.0))
    return turned


def chunks(items: Sequence[Any]) -> Iterator[Sequence[Any]]:
    for start in range(0, len(items), CHUNK):
        yield items[start : start + CHUNK]
