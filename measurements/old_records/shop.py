"""Taking back an export of the whole shop: every row becomes the record it was, or is one already.

What is on record is never overwritten: a customer or instrument that differs is left as it is, with a
word about it; a reading or a piece of work that differs is refused, since facts are corrected at the
bench. Nothing is written unless every row is right.
"""

from collections.abc import Iterable
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.utils import timezone

from instruments.models import Instrument, NeckJoint
from measurements.models import CheckIn, ImportRun, Work, WorkKind
from measurements.old_records.acts_shop import ShopPlan, import_shop
from measurements.old_records.columns import quoted
from measurements.old_records.entries import Entry, read_entries
from measurements.old_records.findings import Problem, Report, judge
from measurements.old_records.sheets import SHEETS
from measurements.old_records.stored import alike, chunks, same
from measurements.old_records.table import Table, TableError
from shop.models import Customer, User

OF_THE_RECORD = {"voided_at", "void_reason", "recorded_at", "created_at"}  # not what was measured
LEAST_RADIUS_MM = 100


def import_tables(tables: dict[str, Table], run: ImportRun, *, dry_run: bool) -> Report:
    """Plan an export's tables and, unless told not to or something is wrong, write them.

    Raises ``TableError`` when a sheet has a column no export has. Call it inside a transaction.
    """
    planner = _Planner(tables, run.imported_by)
    planner.plan_all()
    report = planner.report()
    if dry_run or report.problems:
        return report
    if not planner.plan.is_empty:
        run.counts = {"rows": report.read}
        report.touched = import_shop(planner.plan, run)
        report.run = run
    report.written = True
    return report


class _Planner:
    """Settles, sheet by sheet, which rows are new and whether what they rest on is there."""

    def __init__(self, tables: dict[str, Table], by: User | None) -> None:
        self.by, self.plan = by, ShopPlan()
        self.problems: list[Problem] = []
        self.warnings: list[Problem] = []
        self.entries = {
            name: read_entries(SHEETS[name], tables[name], self.problems)
            for name in SHEETS
            if name in tables
        }
        if not any(self.entries.values()):
            raise TableError("The file has a line of column names but no rows below it.")
        self.already: set[tuple[str, int]] = set()
        self.bad = {(problem.sheet, problem.line) for problem in self.problems}
        self.people = {user.username: user for user in User.objects.all()}
        self.strangers: set[str] = set()
        self.customers: dict[str, Customer] = {}
        self.instruments: dict[str, Instrument] = {}
        self.check_ins: dict[UUID, CheckIn] = {}

    def plan_all(self) -> None:
        self._customers(self.entries.get("customers", []))
        self._instruments(self.entries.get("instruments", []))
        self._facts(self.entries.get("readings", []), CheckIn)
        self._facts(self.entries.get("work", []), Work)

    def report(self) -> Report:
        rows = [entry for entries in self.entries.values() for entry in entries]
        facts = [*self.plan.check_ins, *self.plan.works]
        return Report(
            read=len(rows),
            added=len(facts) - len(self.plan.works),
            already=len(self.already),
            skipped=len(self.bad),
            work_added=len(self.plan.works),
            customers_added=len(self.plan.customers),
            instruments_added=len(self.plan.instruments),
            problems=sorted(self.problems),
            warnings=sorted(self.warnings),
            rows=judge((entry.shown for entry in rows), self.already, self.problems, self.warnings),
        )

    def wrong(self, entry: Entry, column: str, why: str) -> None:
        self.problems.append(Problem(entry.line, column, why, entry.sheet))
        self.bad.add((entry.sheet, entry.line))

    def odd(self, entry: Entry, column: str, why: str) -> None:
        self.warnings.append(Problem(entry.line, column, why, entry.sheet))

    def _once(self, entries: list[Entry], column: str) -> dict[Any, Entry]:
        """The good rows by what names their record; a second one of the same name is refused."""
        found: dict[Any, Entry] = {}
        for entry in entries:
            if entry.name is None or (entry.sheet, entry.line) in self.bad:
                continue
            first = found.setdefault(entry.name, entry)
            if first is not entry:
                why = f"{quoted(str(entry.name))} stands on line {first.line} already; keep one"
                self.wrong(entry, column, why)
        return found

    def _customers(self, entries: list[Entry]) -> None:
        held = {customer.code: customer for customer in Customer.objects.all()}
        self.customers = dict(held)
        for code, entry in self._once(entries, "code").items():
            if code in held:
                self._leave(entry, held[code], entry.values)
            else:
                self.customers[code] = Customer(**entry.values)
                self.plan.customers.append(self.customers[code])

    def _instruments(self, entries: list[Entry]) -> None:
        held = {
            instrument.tag.upper(): instrument
            for instrument in Instrument.objects.select_related("joint", "customer")
        }
        self.instruments = dict(held)
        for tag, entry in self._once(entries, "tag").items():
            code = entry.references["customer"]
            if code and code not in self.customers:
                why = f"{quoted(code)} is no customer's code, neither here nor on record"
                self.wrong(entry, "customer", why)
                continue
            if tag in held:
                owner = held[tag].customer
                if (owner.code if owner else "") != code:
                    self.odd(entry, "customer", "is another on record; left as it is")
                self._leave(entry, held[tag], entry.values)
                if entry.joint and (joint := getattr(held[tag], "joint", None)) is not None:
                    self._leave(entry, joint, entry.joint, "joint_")
                continue
            if not self._joint_is_right(entry):
                continue
            made = Instrument(**entry.values, customer=self.customers.get(code))
            self.instruments[tag] = made
            self.plan.instruments.append(made)
            if entry.joint:
                self.plan.joints.append(NeckJoint(**entry.joint, instrument=made))

    def _joint_is_right(self, entry: Entry) -> bool:
        joint, radius = entry.joint, entry.values.get("fretboard_radius_mm")
        if radius is not None and 0 < radius < LEAST_RADIUS_MM:
            why = f"is 0 for a flat board or at least {LEAST_RADIUS_MM}"
            self.wrong(entry, "fretboard_radius_mm", why)
        most = joint.get("tilt_max_deg")
        if most is not None and joint["tilt_min_deg"] > most:
            self.wrong(entry, "joint_tilt_max_deg", "is less than joint_tilt_min_deg")
        return (entry.sheet, entry.line) not in self.bad

    def _leave(self, entry: Entry, held: Any, values: dict[str, Any], prefix: str = "") -> None:
        self.already.add((entry.sheet, entry.line))
        names = [prefix + name for name in _differing(held, values)]
        if names:
            self.odd(entry, names[0], f"on record with another {', '.join(names)}; left as it is")

    def _facts(self, entries: list[Entry], model: type[CheckIn] | type[Work]) -> None:
        wanted = self._once(entries, "uuid")
        held: dict[UUID, Any] = {}
        for chunk in chunks(list(wanted)):
            found: Any = model._default_manager.filter(uuid__in=chunk).select_related("instrument")
            if model is CheckIn:
                found = found.prefetch_related("action_readings")
            held |= {fact.uuid: fact for fact in found}
        made: dict[UUID, Any] = {}
        for uuid, entry in wanted.items():
            instrument = self.instruments.get(entry.references["tag"].upper())
            if instrument is None:
                why = f"{quoted(entry.references['tag'])} is no instrument, neither here nor on record"
                self.wrong(entry, "tag", why)
            elif uuid in held:
                self._compare(entry, held[uuid], instrument)
            elif self._fact_is_right(entry):
                made[uuid] = model(**entry.values, instrument=instrument, **self._who(entry, model))
        if model is Work:
            self.plan.works = list(made.values())
        else:
            self.plan.check_ins = [(made[uuid], wanted[uuid].actions) for uuid in made]
            self._replacements(wanted, made, held)

    def _compare(self, entry: Entry, held: Any, instrument: Instrument) -> None:
        names = _differing(held, entry.values)
        if entry.sheet == "readings":
            actions = {(a.fret, a.side): a.action_mm for a in held.action_readings.all()}
            names += [
                f"action_{fret}_{side}_mm"
                for fret, side in sorted(actions.keys() | entry.actions.keys())
                if not alike(actions.get((fret, side)), entry.actions.get((fret, side)))
            ]
        if held.instrument_id != instrument.pk:
            self.wrong(entry, "tag", f"is on record for {held.instrument.tag}")
        elif names:
            self.wrong(
                entry,
                names[0],
                f"is on record with another {', '.join(names)}; void it there first, or take the row out",
            )
        else:
            self.already.add((entry.sheet, entry.line))
            if (held.voided_at is None) != (entry.values["voided_at"] is None):
                self.odd(entry, "voided_at", "is otherwise on record; left as it is")

    def _fact_is_right(self, entry: Entry) -> bool:
        values = entry.values
        voids = (values["voided_at"], values["void_reason"], entry.references["voided_by"])
        if any(voids) and not all(voids):
            self.wrong(entry, "voided_at", "needs voided_by and void_reason beside it, or none")
        if any(voids) and self.by is None and voids[2] not in self.people:
            why = f"{quoted(voids[2])} has no account here; say who imports with --by"
            self.wrong(entry, "voided_by", why)
        if values.get("kind") == WorkKind.JOINT and None in (
            values["tilt_from_deg"],
            values["tilt_to_deg"],
        ):
            self.wrong(entry, "tilt_to_deg", "is needed, as is tilt_from_deg, for a neck angle")
        column = "measured_at" if entry.sheet == "readings" else "done_at"
        if values[column] > timezone.now() + timedelta(days=1):
            self.wrong(entry, column, f"{values[column]:%Y-%m-%d} lies in the future")
        return (entry.sheet, entry.line) not in self.bad

    def _who(self, entry: Entry, model: type[Any]) -> dict[str, User | None]:
        """People by username; somebody unknown here is left empty, or is the importer for a void."""
        found: dict[str, User | None] = {}
        for column in ("measured_by" if model is CheckIn else "done_by", "voided_by"):
            name = entry.references[column]
            found[column] = self.people.get(name)
            if name and found[column] is None:
                if column == "voided_by":
                    found[column] = self.by
                if name not in self.strangers:
                    self.strangers.add(name)
                    why = f"{quoted(name)} has no account here; their records come without a name"
                    self.odd(entry, column, why)
        return found

    def _replacements(
        self, wanted: dict[UUID, Entry], made: dict[UUID, CheckIn], held: dict[UUID, CheckIn]
    ) -> None:
        """What each corrected copy stands for; one check-in can be replaced only once."""
        asked = {uuid: entry.replaces for uuid, entry in wanted.items() if uuid in made}
        missing = [old for old in asked.values() if old and old not in made and old not in held]
        for chunk in chunks(missing):
            held |= {c.uuid: c for c in CheckIn.objects.filter(uuid__in=chunk)}
        on_record = [c.pk for c in held.values()]
        taken = set(_replaced_already(on_record))
        for uuid, old in asked.items():
            if old is None:
                continue
            wrong = made.get(old) or held.get(old)
            if wrong is None:
                self.wrong(wanted[uuid], "replaces", f"{old} is no check-in, here or on record")
            elif old in taken or old == uuid or wrong.voided_at is None:
                why = (
                    f"{old} is not voided" if wrong.voided_at is None else f"{old} has a successor"
                )
                self.wrong(wanted[uuid], "replaces", why)
            elif wrong.instrument is not made[uuid].instrument and (
                wrong.instrument.tag != made[uuid].instrument.tag
            ):
                self.wrong(wanted[uuid], "replaces", f"{old} is of {wrong.instrument.tag}")
            else:
                taken.add(old)
                self.plan.replaced[id(made[uuid])] = wrong


def _replaced_already(keys: list[int]) -> Iterable[UUID]:
    for chunk in chunks(keys):
        yield from CheckIn.objects.filter(replaces__in=chunk).values_list(
            "replaces__uuid", flat=True
        )


def _differing(held: Any, values: dict[str, Any]) -> list[str]:
    """Names of what a record holds otherwise than a row says."""
    return [
        name
        for name, value in values.items()
        if name not in OF_THE_RECORD and not same(getattr(held, name), value)
    ]
