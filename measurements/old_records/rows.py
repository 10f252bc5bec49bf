"""From rows of text to rows of facts: every cell is read, everything wrong is noted with its line."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID, uuid5

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from measurements.models import Stage
from measurements.old_records.columns import Column, as_typed, columns_of, quoted, remembering
from measurements.old_records.findings import Problem, RowReport
from measurements.old_records.table import Table, TableError
from shop.refusals import in_words

# Identity of an imported row; never to change, or a second import would add everything again.
NAMESPACE = UUID("6e2d1b5c-0f3a-5c7e-9a41-7d0c5e8b2f13")
SHOWN = 60  # characters of a cell
TITLE = ("tag", "checked_in_on", "stage")
#: What is wrong with the headings as such.
FIRST_LINE = gettext_noop("line 1: %(why)s")
ROWS_PER_DAY = 100  # of each stage, two minutes apart, all of them before midnight


@dataclass(slots=True)
class Row:
    """One row's facts; ``figures`` and ``joint`` are the instrument's dimensions given in it."""

    line: int
    tag: str
    day: date
    stage: str
    customer: str = ""
    notes: str = ""
    turns: float | None = None
    tilt_now_deg: float | None = None
    facts: dict[str, float] = field(default_factory=dict)
    actions: dict[tuple[int, str], float] = field(default_factory=dict)
    figures: dict[str, Any] = field(default_factory=dict)
    joint: dict[str, Any] = field(default_factory=dict)
    typed: dict[str, str] = field(default_factory=dict)
    uuid: UUID = NAMESPACE
    measured_at: datetime = datetime.min
    replaces: int | None = None
    tilt_from_deg: float | None = None
    tilt_to_deg: float | None = None

    @property
    def key(self) -> str:
        return self.tag.upper()

    @property
    def work_uuid(self) -> UUID:
        return uuid5(self.uuid, "turns")

    @property
    def work_at(self) -> datetime:
        return self.measured_at + timedelta(minutes=1)


@dataclass
class Parsed:
    """All rows that could be read, what was wrong, what was odd, and each field's column name."""

    rows: list[Row]
    problems: list[Problem]
    warnings: list[Problem]
    read: int
    names: dict[str, str]
    shown: list[RowReport] = field(default_factory=list)

    def name_of(self, key: str) -> str:
        return self.names.get(key, key)


def parse(table: Table, today: date) -> Parsed:
    """Read every cell. Raises ``TableError`` when the columns themselves are wrong."""
    columns, wrong = columns_of(table.header, today)
    if wrong:
        raise TableError("\n".join(_heading_fault(name, why) for name, why in wrong))
    names: dict[str, str] = {}
    for column in columns:
        if column is not None:
            names[column.key] = (
                f"{names[column.key]}/{column.name}" if column.key in names else column.name
            )
    parsed = Parsed([], [], [], 0, names)
    reader = _Reader(columns, parsed)
    for line, cells in table.numbered():
        parsed.read += 1
        parsed.shown.append(_shown(line, columns, cells))
        reader.take(line, cells)
    if not parsed.read:
        raise TableError(_("The file has a line of column names but no rows below it."))
    return parsed


def _shown(line: int, columns: list[Column | None], cells: list[str]) -> RowReport:
    """A row as its preview shows it: the filled cells by column, cut short."""
    said = [
        (column.name, cell.strip()[:SHOWN])
        for column, cell in zip(columns, cells, strict=False)
        if column is not None and cell and not cell.isspace()
    ]
    title = " · ".join(text for name, text in said if name in TITLE)
    return RowReport(line, "", title, [pair for pair in said if pair[0] not in TITLE])


def _heading_fault(name: str, why: str) -> str:
    if not name:
        return _(FIRST_LINE) % {"why": why}
    return _("line 1, column %(column)s: %(why)s") % {"column": name, "why": why}


class _Cells:
    """The cells of one row as far as they were read, by what they are about."""

    def __init__(self) -> None:
        self.values: dict[str, Any] = {}
        self.facts: dict[str, float] = {}
        self.actions: dict[tuple[int, str], float] = {}
        self.figures: dict[str, Any] = {}
        self.joint: dict[str, Any] = {}
        self.typed: dict[str, str] = {}
        self.odd: list[Problem] = []
        self.has_reading = False

    def take(self, line: int, column: Column, value: Any) -> None:
        if (why := column.unusual(value)) is not None:
            self.odd.append(Problem(line, column.name, why))
        if column.place is not None:
            self.actions[column.place] = value
        elif column.group in ("reading", "climate"):
            self.facts[column.key] = value
        elif column.group == "instrument":
            self.figures[column.key] = value
        elif column.group == "joint":
            self.joint[column.key] = value
        else:
            self.values[column.key] = value
        self.has_reading |= column.group == "reading"

    def row(self, line: int) -> Row:
        values = dict(self.values)
        kept = self.facts.keys() | {"turns", "tilt_now_deg"}
        return Row(
            line=line,
            stage=values.pop("stage", Stage.RECEIVED),
            turns=values.pop("turns", None) or None,
            facts=self.facts,
            actions=self.actions,
            figures=self.figures,
            joint=self.joint,
            typed={"unit": "mm"}
            | {
                key: text
                for key, text in self.typed.items()
                if key in kept or key.startswith("action_")
            },
            **values,
        )


class _Reader:
    """Reads rows one after another and counts those of one tag, day and stage."""

    def __init__(self, columns: list[Column | None], parsed: Parsed) -> None:
        self.columns: list[tuple[Column | None, Callable[[str], Any]]] = [
            (column, remembering(column.read) if column else str) for column in columns
        ]
        self.parsed = parsed
        self.same: Counter[tuple[str, date, str]] = Counter()

    def take(self, line: int, cells: list[str]) -> None:
        wrong: list[Problem] = []
        read = self._cells(line, cells, wrong)
        missing = [key for key in ("tag", "day") if key not in read.values]
        wrong += [
            Problem(line, self.parsed.names[key], _("is empty; every row needs it"))
            for key in missing
            if key not in read.typed
        ]
        if not missing:
            row = read.row(line)
            if not any(problem.column == "stage" for problem in wrong):
                self._place(row, wrong)
            if not read.has_reading and not wrong:
                why = _("holds no reading; each row needs at least one")
                wrong.append(Problem(line, "", why))
        if wrong:
            self.parsed.problems += wrong
        else:
            self.parsed.warnings += read.odd
            self.parsed.rows.append(row)

    def _cells(self, line: int, cells: list[str], wrong: list[Problem]) -> "_Cells":
        """Read a row's cells; what cannot be read is noted and left out."""
        read = _Cells()
        if cells[len(self.columns)].strip():
            why = _("has more cells than the first line names columns")
            wrong.append(Problem(line, "", why))
        for (column, read_text), cell in zip(self.columns, cells, strict=False):
            text = cell.strip()
            if not text:
                continue
            if column is None:
                why = _("%(text)s stands in a column without a name") % {"text": quoted(text)}
                wrong.append(Problem(line, "", why))
            elif column.key in read.typed:
                why = _("is given twice, in mm and in inches; leave one of the two cells empty")
                wrong.append(Problem(line, column.name, why))
            else:
                read.typed[column.key] = as_typed(column, text)
                try:
                    read.take(line, column, read_text(text))
                except ValueError as error:
                    wrong.append(Problem(line, column.name, in_words(error)))
        return read

    def _place(self, row: Row, wrong: list[Problem]) -> None:
        """Give the row its identity and its moment; rows that are wrong elsewhere count too."""
        count = self.same[row.key, row.day, row.stage]
        self.same[row.key, row.day, row.stage] += 1
        if count >= ROWS_PER_DAY:
            why = _(
                "is more than the %(most)s rows of one stage that one tag may have on one day"
            ) % {"most": ROWS_PER_DAY}
            wrong.append(Problem(row.line, self.parsed.names["day"], why))
            return
        identity = f"{row.key}|{row.day.isoformat()}|{row.stage}|{count}"
        row.uuid = uuid5(NAMESPACE, identity)
        # As received comes before as returned, in whatever order the file has them.
        place = count + (0 if row.stage == Stage.RECEIVED else ROWS_PER_DAY)
        row.measured_at = _first_moment(row.day) + timedelta(minutes=2 * place)


def _first_moment(day: date) -> datetime:
    """Noon, or midnight for this morning: what is imported must not lie ahead of what is done next."""
    noon = timezone.make_aware(datetime.combine(day, time(12)))
    return noon if noon <= timezone.now() else noon - timedelta(hours=12)
