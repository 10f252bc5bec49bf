"""From the bytes of an XLSX workbook to rows of text, as somebody would have typed them."""

import io
import logging
import warnings
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from measurements.old_records.archive import check_workbook
from measurements.old_records.cells import from_workbook
from measurements.old_records.table import Table, TableError
from shop.figures import counted

log = logging.getLogger(__name__)

LIMIT_ROWS = 100_000
LIMIT_COLUMNS = 200
LAST_ROW = 1_048_576  # of any worksheet
MANIFEST = "[Content_Types].xml"


def is_workbook(archive: zipfile.ZipFile) -> bool:
    return MANIFEST in archive.namelist()


class Workbook:
    """A workbook that was checked; sheets are read when asked for."""

    def __init__(self, data: bytes, archive: zipfile.ZipFile) -> None:
        check_workbook(archive)
        from openpyxl import load_workbook

        with _refusing_what_is_broken():
            self._book = load_workbook(
                io.BytesIO(data), read_only=True, data_only=True, keep_links=False
            )
            self._sheets = {sheet.title: sheet for sheet in self._book.worksheets}

    def sheet_names(self) -> list[str]:
        return list(self._sheets)

    def table(self, name: str) -> Table:
        """One sheet's rows as text. Raises ``TableError`` if it is too large, empty or broken."""
        sheet = self._sheets[name]
        sheet.reset_dimensions()  # what the file claims of its own size is not to be trusted
        rows, lines = [], []
        with _refusing_what_is_broken():
            for line, cells in enumerate(sheet.iter_rows(values_only=True), start=1):
                if line > LAST_ROW:
                    raise TableError(
                        _("The sheet “%(sheet)s” says it has more than %(most)s rows.")
                        % {"sheet": name, "most": counted(LAST_ROW)}
                    )
                texts = _texts(cells)
                if texts:
                    rows.append(texts)
                    lines.append(line)
                _check_size(name, line, len(rows), len(texts))
        if not rows:
            raise TableError(
                _("The sheet “%(sheet)s” is empty. Its first row must name the columns.")
                % {"sheet": name}
            )
        header = [" ".join(heading.split()) for heading in rows[0]]
        width = len(header) + 1
        padded = [row + [""] * (width - len(row)) for row in rows[1:]]
        for line, row in zip(lines[1:], padded, strict=True):
            if len(row) > width:
                raise TableError(_beyond(name, line, len(header), lines[0]))
        return Table(header=header, rows=padded, lines=lines[1:])


def _beyond(name: str, line: int, columns: int, top: int) -> str:
    return _(
        "Row %(line)s of the sheet “%(sheet)s” has a cell beyond the %(columns)s columns that row "
        "%(top)s names. Name its column, or empty the cell."
    ) % {"line": line, "sheet": name, "columns": columns, "top": top}


def _check_size(name: str, line: int, rows: int, columns: int) -> None:
    if rows > LIMIT_ROWS + 1:
        raise TableError(
            _("The sheet “%(sheet)s” has more than %(most)s rows. Split it into several files.")
            % {"sheet": name, "most": counted(LIMIT_ROWS)}
        )
    if columns > LIMIT_COLUMNS:
        raise TableError(
            _(
                "Row %(line)s of the sheet “%(sheet)s” reaches to column %(column)s; at most %(most)s "
                "are read."
            )
            % {"line": line, "sheet": name, "column": columns, "most": LIMIT_COLUMNS}
        )


def _texts(cells: tuple[Any, ...]) -> list[str]:
    """A row's texts without the empty cells at its end."""
    last = next((n for n in range(len(cells), 0, -1) if cells[n - 1] not in (None, "")), 0)
    return [_text(cell) for cell in cells[:last]]


def _text(value: Any) -> str:
    """What one would have typed: days as ISO, numbers in full without an exponent."""
    if value is None:
        return ""
    if isinstance(value, str):
        return from_workbook(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return plain_number(value)
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat()
    if isinstance(value, date | time | timedelta):
        return str(value)
    return str(value)[:400]


def plain_number(value: float) -> str:
    """A float's shortest exact text, whole numbers without a point: 0.1, 645, 0.0000001."""
    text = format(Decimal(repr(value)), "f")
    return text.removesuffix(".0")


@contextmanager
def _refusing_what_is_broken() -> Iterator[None]:
    """A damaged or hostile part can fail in many ways in the reader; all mean the same here."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except TableError:
        raise
    except Exception as error:
        log.info("workbook not read", exc_info=True)
        raise TableError(
            _(
                "This workbook cannot be read: a part of it is missing or damaged. Open it in a "
                "spreadsheet program and save it as XLSX again, or save the sheet as CSV (UTF-8)."
            )
        ) from error
