"""From a sheet of an export to its rows' values: every cell is read, everything wrong is noted."""

from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from measurements.old_records.columns import quoted
from measurements.old_records.findings import Problem, RowReport
from measurements.old_records.sheets import ACTION, Column, Sheet, no_uuid, read_action
from measurements.old_records.table import Table, TableError

LONGEST_REFERENCE = 200
HIGHEST_FRET = 36
SHOWN = 60


@dataclass(slots=True)
class Entry:
    """One row: its values by the model's fields, its references as text, what its preview shows."""

    sheet: str
    line: int
    shown: RowReport
    name: Any = None  # what tells the record: code, upper-case tag or UUID
    values: dict[str, Any] = field(default_factory=dict)
    joint: dict[str, Any] = field(default_factory=dict)
    references: dict[str, str] = field(default_factory=dict)
    actions: dict[tuple[int, str], float] = field(default_factory=dict)
    replaces: UUID | None = None


def read_entries(sheet: Sheet, table: Table, problems: list[Problem]) -> list[Entry]:
    """Read all rows of a sheet; a column that is missing leaves its field as a new record has it.

    Raises ``TableError`` at a column no export has, or one that stands there twice.
    """
    places = _places(sheet, table.header)
    entries = []
    for line, cells in table.numbered():
        entry = Entry(sheet.name, line, _shown(sheet, line, table.header, cells))
        reader = _Reader(sheet, entry, problems)
        if cells[len(table.header)].strip():
            reader.wrong("", _("has more cells than the first line names columns"))
        reader.read({name: cells[place] for name, place in places.items()})
        entries.append(entry)
    return entries


def _places(sheet: Sheet, header: list[str]) -> dict[str, int]:
    known = set(sheet.names)
    places: dict[str, int] = {}
    for place, name in enumerate(header):
        if not name:
            continue
        if name in places:
            raise TableError(
                _("%(sheet)s: the column %(column)s stands there twice.")
                % {"sheet": sheet.name, "column": quoted(name)}
            )
        action = sheet.name == "readings" and ACTION.fullmatch(name)
        if name not in known and not (action and int(action[1]) <= HIGHEST_FRET):
            raise TableError(
                _(
                    "%(sheet)s: %(column)s is not a column of an export. Take it out, or correct its "
                    "name."
                )
                % {"sheet": sheet.name, "column": quoted(name)}
            )
        places[name] = place
    return places


def _shown(sheet: Sheet, line: int, header: list[str], cells: list[str]) -> RowReport:
    said = [
        (name, cell[:SHOWN])
        for name, cell in zip(header, cells, strict=False)
        if cell and name not in ("uuid", "as_typed", "code")
    ]
    title = " · ".join(text for name, text in said if name in sheet.needed)
    rest = [pair for pair in said if pair[0] not in sheet.needed]
    return RowReport(line, sheet.name, title, rest)


class _Reader:
    """Reads one row's cells into its entry."""

    def __init__(self, sheet: Sheet, entry: Entry, problems: list[Problem]) -> None:
        self.sheet, self.entry, self.problems = sheet, entry, problems

    def wrong(self, column: str, why: str) -> None:
        self.problems.append(Problem(self.entry.line, column, why, self.entry.sheet))

    def read(self, cells: dict[str, str]) -> None:
        entry = self.entry
        self._columns(self.sheet.columns, cells, entry.values)
        if cells.get("joint_kind", "").strip():
            self._columns(self.sheet.joint, cells, entry.joint)
        else:
            for column in self.sheet.joint:
                if cells.get(column.name, "").strip():
                    self.wrong(column.name, _("stands beside an empty joint_kind; fill that too"))
                    break
        for name in self.sheet.references:
            entry.references[name] = self._reference(name, cells.get(name, ""))
        if self.sheet.name == "readings":
            self._readings(cells)
        match self.sheet.name:
            case "customers":
                entry.name = entry.values.get("code")
            case "instruments":
                tag = entry.values.get("tag")
                entry.name = None if tag is None else tag.upper()
            case _:
                entry.name = entry.values.get("uuid")

    def _columns(
        self, columns: list[Column], cells: dict[str, str], values: dict[str, Any]
    ) -> None:
        for column in columns:
            if column.name not in cells:
                values[column.key] = column.field.get_default()
                continue
            if column.name in self.sheet.needed and not cells[column.name].strip():
                self.wrong(column.name, _("is empty; every row needs it"))
                continue
            try:
                values[column.key] = column.read(cells[column.name])
            except ValueError as error:
                self.wrong(column.name, str(error))

    def _reference(self, name: str, text: str) -> str:
        if len(text) > LONGEST_REFERENCE or "\0" in text:
            self.wrong(name, _("%(text)s is no name of a record") % {"text": quoted(text)})
            return ""
        return text.strip()

    def _readings(self, cells: dict[str, str]) -> None:
        for name, text in cells.items():
            if text and (match := ACTION.fullmatch(name)) and text.strip():
                try:
                    self.entry.actions[int(match[1]), match[2]] = read_action(text)
                except ValueError as error:
                    self.wrong(name, str(error))
        if old := self.entry.references["replaces"]:
            try:
                self.entry.replaces = UUID(old)
            except ValueError:
                self.wrong("replaces", no_uuid(old))
