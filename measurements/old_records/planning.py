"""Import of old records: what a file would change is planned first, then written in one transaction."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from instruments.models import TURNED, Instrument, NeckJoint
from measurements.models import ImportRun
from measurements.old_records.acts_bulk import InstrumentPlan, customers_by_name, import_rows
from measurements.old_records.columns import shown
from measurements.old_records.findings import Problem, Report, judge
from measurements.old_records.rows import Parsed, Row, parse
from measurements.old_records.shop import import_tables
from measurements.old_records.source import Source, read_source
from measurements.old_records.stored import Stored, alike, look_up
from measurements.old_records.table import TableError
from measurements.old_records.tilt import follow_tilt
from shop.models import User

CORRECTED = gettext_noop("%(tag)s: %(column)s on record %(held)s, in the file %(given)s; corrected")
LEFT = gettext_noop("%(tag)s: %(column)s on record %(held)s, in the file %(given)s; left as it was")

__all__ = ["Report", "TableError", "import_file", "import_source"]


def import_file(
    data: bytes,
    *,
    file_name: str = "",
    sheet: str = "",
    by: User | None = None,
    skip_bad_rows: bool = False,
    dry_run: bool = False,
    today: date | None = None,
) -> Report:
    """Import a file's rows, all or, when told so, those that are right; see ``import_source``.

    Raises ``TableError`` when the file is no table at all.
    """
    source = read_source(data, file_name, sheet)
    return import_source(source, by=by, skip_bad_rows=skip_bad_rows, dry_run=dry_run, today=today)


def import_source(
    source: Source,
    *,
    by: User | None = None,
    skip_bad_rows: bool = False,
    dry_run: bool = False,
    today: date | None = None,
) -> Report:
    """Import what was read, a log or an export of the whole shop, in one transaction.

    When a row is bad and bad rows are not skipped, nothing is written and ``Report.problems`` says why.
    An export is taken in whole or not at all. Raises ``TableError`` when the columns are wrong.
    """
    run = ImportRun(file_name=source.file_name, digest=source.digest, imported_by=by)
    today = today or timezone.localdate()
    parsed = None if source.table is None else parse(source.table, today)
    try:
        with transaction.atomic():
            if parsed is None or source.table is None:
                return import_tables(source.shop, run, dry_run=dry_run)
            report = _import(parsed, run, skip_bad_rows=skip_bad_rows, dry_run=dry_run)
    except IntegrityError as error:
        raise TableError(
            _(
                "Somebody else saved the same records at the same moment. Nothing was imported; "
                "run the import again."
            )
        ) from error
    return report


def _import(parsed: Parsed, run: ImportRun, *, skip_bad_rows: bool, dry_run: bool) -> Report:
    planner = _Planner(parsed, look_up(parsed.rows))
    plans = planner.plans()
    report = planner.report(plans)
    report.rows = judge(
        parsed.shown, {("", line) for line in planner.old}, report.problems, report.warnings
    )
    if dry_run or (report.problems and not skip_bad_rows):
        return report
    if plans:
        run.counts = {"rows": report.read}
        report.touched = import_rows(plans, run)
        report.run = run
    report.written = True
    return report


class _Planner:
    """Settles, instrument by instrument, which rows are new and what they change."""

    def __init__(self, parsed: Parsed, stored: Stored) -> None:
        self.parsed, self.stored = parsed, stored
        self.problems = list(parsed.problems)
        self.warnings = list(parsed.warnings)
        self.bad: set[int] = {problem.line for problem in parsed.problems}
        self.notes: list[str] = []
        self.old: set[int] = set()  # lines of rows on record already
        self.customers = customers_by_name()

    def plans(self) -> list[InstrumentPlan]:
        by_tag: dict[str, list[Row]] = defaultdict(list)
        for row in self.parsed.rows:
            by_tag[row.key].append(row)
        settled = (self._settle(key, rows) for key, rows in by_tag.items())
        return [plan for plan in settled if plan is not None]

    def report(self, plans: Sequence[InstrumentPlan]) -> Report:
        rows = [row for plan in plans for row in plan.rows]
        names = {plan.customer_name.casefold() for plan in plans if plan.customer_name}
        return Report(
            read=self.parsed.read,
            added=len(rows),
            already=len(self.old),
            skipped=len(self.bad),
            work_added=sum(row.turns is not None for row in rows),
            customers_added=len(names - self.customers.keys()),
            instruments_added=sum(plan.is_new for plan in plans),
            instruments_updated=sum(plan.is_updated for plan in plans),
            problems=sorted(self.problems),
            warnings=sorted(self.warnings),
            notes=self.notes,
        )

    def wrong(self, row: Row, key: str, why: str) -> None:
        self.problems.append(Problem(row.line, self.parsed.name_of(key), why))
        self.bad.add(row.line)

    def odd(self, row: Row, key: str, why: str) -> None:
        self.warnings.append(Problem(row.line, self.parsed.name_of(key), why))

    def _settle(self, key: str, rows: list[Row]) -> InstrumentPlan | None:
        """Plan one instrument; rows found bad on the way are left out and the rest is planned anew."""
        instrument = self.stored.instruments.get(key)
        new, old = self._divide(rows, instrument)
        notes, warnings = len(self.notes), len(self.warnings)
        while True:
            bad = len(self.bad)
            plan = self._plan(instrument, new, old)
            if len(self.bad) == bad:
                break
            new = [row for row in new if row.line not in self.bad]
            old = [row for row in old if row.line not in self.bad]
            del self.notes[notes:], self.warnings[warnings:]
        self.old |= {row.line for row in old}
        nothing = plan is None or not (plan.rows or plan.is_updated)
        return None if nothing else plan

    def _divide(
        self, rows: list[Row], instrument: Instrument | None
    ) -> tuple[list[Row], list[Row]]:
        """New rows and those on record already; what contradicts the record is bad."""
        new, old = [], []
        for row in rows:
            held = self.stored.check_ins.get(row.uuid)
            already, why = self.stored.verdict(row)
            if already:
                old.append(row)
            elif why:
                self.wrong(row, "", why)
            elif held is not None and held.instrument != instrument:
                why = _("this instrument's tag is now %(tag)s") % {"tag": held.instrument.tag}
                self.wrong(row, "tag", why)
            else:
                new.append(row)
        return new, old

    def _plan(
        self, instrument: Instrument | None, new: list[Row], old: list[Row]
    ) -> InstrumentPlan | None:
        if instrument is None and not new:
            return None
        new = sorted(new, key=lambda row: row.measured_at)
        plan = _start(instrument, new)
        fresh = {row.line for row in new}
        rows = sorted([*new, *old], key=lambda row: row.line)
        self._figures(plan, plan.instrument, plan.instrument_fields, rows, fresh, "figures")
        self._figures(plan, plan.joint, plan.joint_fields, rows, fresh, "joint")
        self._customer(plan, new or old)
        self._check_dates(plan, new)
        self._check_limits(plan, rows)
        self._tilt(plan, new)
        return plan

    def _figures(
        self,
        plan: InstrumentPlan,
        target: Instrument | NeckJoint,
        changed: set[str],
        rows: list[Row],
        fresh: set[int],
        group: str,
    ) -> None:
        """Take over dimensions: new rows fill and correct, rows on record already only fill."""
        given: dict[str, tuple[Any, Row]] = {}
        correcting: set[str] = set()
        for row in rows:
            for key, value in getattr(row, group).items():
                before, first = given.setdefault(key, (value, row))
                if not _equal(before, value):
                    self.wrong(row, key, _differs(value, before, first.line))
                elif row.line in fresh:
                    correcting.add(key)
        for key, (value, _row) in given.items():
            held = getattr(target, key)
            if _equal(held, value):
                continue
            if target.pk is not None and held is not None:
                words = CORRECTED if key in correcting else LEFT
                figures = {"column": key, "held": _say(held), "given": _say(value)}
                self.notes.append(_(words) % {"tag": plan.instrument.tag, **figures})
                if key not in correcting:
                    continue
            setattr(target, key, value)
            changed.add(key)

    def _customer(self, plan: InstrumentPlan, rows: list[Row]) -> None:
        """A new or ownerless instrument gets the latest customer named; another's is left."""
        names = {row.customer.casefold(): row.customer for row in rows if row.customer}
        if not names:
            return
        latest = list(names.values())[-1] if len(names) == 1 else _last(rows)
        tag, held = plan.instrument.tag, plan.instrument.customer
        if held is None:
            plan.customer_name = latest
            if len(names) > 1:
                self.notes.append(
                    _("%(tag)s: several customers in the file; the latest taken, %(name)s")
                    % {"tag": tag, "name": latest}
                )
        elif held.name.casefold() != latest.casefold():
            self.notes.append(
                _("%(tag)s: customer on record %(held)s, in the file %(given)s; left as it was")
                % {"tag": tag, "held": held.name, "given": latest}
            )

    def _check_dates(self, plan: InstrumentPlan, new: list[Row]) -> None:
        built = plan.instrument.built_year
        for row in new:
            if built is not None and row.day.year < built:
                why = _("%(day)s is before the instrument was built, %(year)s")
                self.wrong(row, "day", why % {"day": row.day, "year": built})

    def _check_limits(self, plan: InstrumentPlan, rows: list[Row]) -> None:
        most, least = plan.joint.tilt_max_deg, plan.joint.tilt_min_deg
        if most is not None and most < least:
            for row in rows:
                if "tilt_max_deg" in row.joint:
                    why = _("%(most)s is below the least tilt, %(least)s")
                    figures = {"most": shown(most, "°"), "least": shown(least, "°")}
                    self.wrong(row, "tilt_max_deg", why % figures)

    def _tilt(self, plan: InstrumentPlan, new: list[Row]) -> None:
        turned = self.stored.turned.get(plan.instrument.pk, []) if plan.instrument.pk else []
        final = follow_tilt(plan.joint, new, turned, wrong=self.wrong, odd=self.odd)
        if not alike(final, plan.joint.tilt_now_deg):
            plan.joint.tilt_now_deg = final
            plan.joint_fields.add("tilt_now_deg")
        turning = [row for row in new if row.turns is not None]
        assumed = [
            key
            for key in ("bolt_arm_mm", "thread_pitch_mm")
            if turning and plan.joint.kind in TURNED and getattr(plan.joint, key) is None
        ]
        if assumed:
            self.odd(turning[0], "turns", _assumed(*assumed))


def _differs(value: Any, before: Any, line: int) -> str:
    return _("%(value)s differs from %(before)s on line %(line)s for the same tag") % {
        "value": _say(value),
        "before": _say(before),
        "line": line,
    }


def _assumed(column: str, other: str = "") -> str:
    """That a joint's dimensions were taken as they usually are."""
    if not other:
        return _("%(column)s not given; the usual taken") % {"column": column}
    return _("%(column)s and %(other)s not given; the usual taken") % {
        "column": column,
        "other": other,
    }


def _start(instrument: Instrument | None, new: list[Row]) -> InstrumentPlan:
    """A plan on fresh copies, so that planning anew starts from what is on record."""
    if instrument is None:
        made = Instrument(tag=min(new, key=lambda row: row.line).tag)
        return InstrumentPlan(instrument=made, joint=NeckJoint(), rows=new)
    copy = _copy(instrument)
    held: NeckJoint | None = getattr(instrument, "joint", None)
    return InstrumentPlan(instrument=copy, joint=_copy(held) if held else NeckJoint(), rows=new)


def _copy(row: Any) -> Any:
    fields = row._meta.concrete_fields
    made = type(row).from_db(
        row._state.db, [f.attname for f in fields], [getattr(row, f.attname) for f in fields]
    )
    if isinstance(row, Instrument):
        made.customer = row.customer
    return made


def _last(rows: Iterable[Row]) -> str:
    return [row.customer for row in rows if row.customer][-1]


def _equal(a: Any, b: Any) -> bool:
    if isinstance(a, float) or isinstance(b, float):
        return alike(a, b)
    return bool(a == b)


def _say(value: Any) -> str:
    return shown(value, "") if isinstance(value, float) else str(value)
