"""What an import did or would do: in counts, in what is wrong, and row by row."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from measurements.models import ImportRun


@dataclass(frozen=True, order=True)
class Problem:
    """Something wrong with, or odd about, one cell."""

    line: int
    column: str
    text: str
    sheet: str = ""

    def __str__(self) -> str:
        where = f", column {self.column}" if self.column else ""
        sheet = f"{self.sheet}, " if self.sheet else ""
        return f"{sheet}line {self.line}{where}: {self.text}"


@dataclass
class RowReport:
    """One row of the file: what it says, what becomes of it, and what is wrong or odd about it."""

    line: int
    sheet: str
    title: str
    cells: list[tuple[str, str]]
    state: str = "new"  # new, already, bad
    problems: list[tuple[str, str]] = field(default_factory=list)  # column, why
    warnings: list[tuple[str, str]] = field(default_factory=list)


@dataclass
class Report:
    """What an import did, or would do."""

    read: int = 0
    added: int = 0
    already: int = 0
    skipped: int = 0
    work_added: int = 0
    customers_added: int = 0
    instruments_added: int = 0
    instruments_updated: int = 0
    written: bool = False
    run: ImportRun | None = None
    touched: list[int] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    rows: list[RowReport] = field(default_factory=list)

    @property
    def adds_anything(self) -> bool:
        return bool(
            self.added
            or self.work_added
            or self.customers_added
            or self.instruments_added
            or self.instruments_updated
        )


def judge(
    rows: Iterable[RowReport],
    already: set[tuple[str, int]],
    problems: Iterable[Problem],
    warnings: Iterable[Problem],
) -> list[RowReport]:
    """Give every row its state and its faults; those with faults first, else as in the file."""
    wrong: dict[tuple[str, int], list[tuple[str, str]]] = defaultdict(list)
    odd: dict[tuple[str, int], list[tuple[str, str]]] = defaultdict(list)
    for found, where in ((problems, wrong), (warnings, odd)):
        for problem in found:
            where[problem.sheet, problem.line].append((problem.column, problem.text))
    judged = list(rows)
    for row in judged:
        place = row.sheet, row.line
        row.problems, row.warnings = wrong[place], odd[place]
        row.state = "bad" if row.problems else "already" if place in already else "new"
    return sorted(judged, key=lambda row: (not row.problems, not row.warnings))
