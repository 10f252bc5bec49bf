"""From the bytes of a CSV file to rows of text with the line numbers an editor shows."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.translation import gettext as _

from measurements.old_records.cells import as_it_was
from shop.figures import counted, decimal

LIMIT_BYTES = 100_000_000
LIMIT_LINES = 500_000
LIMIT_COLUMNS = 500
ARCHIVE_SIGNATURES = (b"PK\x03\x04", b"PK\x05\x06")
OLD_WORKBOOK_SIGNATURE = b"\xd0\xcf\x11\xe0"
WIDE_SIGNATURES = (b"\xff\xfe", b"\xfe\xff")


class TableError(Exception):
    """The file cannot be read as a table at all; the message says why and what to do."""


def too_large(size_bytes: int, most_bytes: int) -> str:
    """Why a file is too large, in megabytes."""
    return _("The file has %(size)s MB, more than %(most)s MB. Split it into several files.") % {
        "size": decimal(size_bytes / 1e6, 0),
        "most": decimal(most_bytes / 1e6, 0),
    }


@dataclass(frozen=True)
class Table:
    """Text of a CSV file: its column names and its rows, each with the line it starts on.

    A row may carry one cell more than there are columns: ``spare`` tells where that was not empty.
    """

    header: list[str]
    rows: list[list[str]]
    lines: list[int]

    def numbered(self) -> Iterator[tuple[int, list[str]]]:
        """Rows that hold anything, with their line numbers."""
        for line, row in zip(self.lines, self.rows, strict=True):
            if any(cell and not cell.isspace() for cell in row):
                yield line, row


def read_table(data: bytes) -> Table:
    """Read comma- or semicolon-separated UTF-8 text.

    Raises ``TableError`` if the file is too large, empty, not text, not UTF-8 or not a table.
    """
    text = _one_ending(decoded(data))
    delimiter = _delimiter(text)
    records = [
        [as_it_was(cell) if cell[:1] == "'" else cell for cell in record]
        for record in _records(text, delimiter)
    ]
    lines = _lines(records, text)
    top = next(
        (n for n, record in enumerate(records) if any(cell.strip() for cell in record)), None
    )
    if top is None:
        raise TableError(_("The file is empty. Its first line must name the columns."))
    header = [name.strip() for name in records[top][:-1]]
    return Table(header=header, rows=records[top + 1 :], lines=lines[top + 1 :])


def read_exactly(data: bytes) -> Table:
    """Read a CSV file that an export wrote: every cell comes back as it was, line ends and all.

    Raises ``TableError`` as ``read_table`` does.
    """
    text = decoded(data)
    delimiter = _delimiter(text)
    csv.field_size_limit(LIMIT_BYTES)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows, lines, line = [], [], 1
    try:
        for record in reader:
            if any(record):
                rows.append([as_it_was(cell) if cell[:1] == "'" else cell for cell in record])
                lines.append(line)
            line = reader.line_num + 1
    except csv.Error:
        raise TableError(_broken(text, delimiter, len(rows[0]) if rows else 1)) from None
    if not rows:
        raise TableError(_("The file is empty. Its first line must name the columns."))
    width = len(rows[0])
    if any(len(row) > width for row in rows):
        raise TableError(_broken(text, delimiter, width))
    padded = [row + [""] * (width + 1 - len(row)) for row in rows[1:]]
    return Table(header=[name.strip() for name in rows[0]], rows=padded, lines=lines[1:])


def first_line(data: bytes) -> list[str]:
    """The first line's cells, or none where the file is no text: enough to see what it is."""
    line = data[:20_000].decode("utf-8-sig", errors="replace").lstrip().splitlines()[:1]
    cells = next(csv.reader(line, delimiter=_delimiter(line[0])), []) if line else []
    return [cell.strip() for cell in cells]


def decoded(data: bytes) -> str:
    """The text of a CSV file. Raises ``TableError`` if it is none or too large."""
    if len(data) > LIMIT_BYTES:
        raise TableError(too_large(len(data), LIMIT_BYTES))
    if data.startswith(OLD_WORKBOOK_SIGNATURE):
        raise TableError(
            _(
                "This is a workbook of the old kind, or one with a password. Save it as XLSX without "
                "a password, or the sheet as CSV (UTF-8)."
            )
        )
    if data.startswith(WIDE_SIGNATURES):
        raise TableError(_("This file is UTF-16 text. Save it as CSV (UTF-8)."))
    if (place := data.find(b"\0")) >= 0:
        line = data.count(b"\n", 0, place) + 1
        raise TableError(
            _("Line %(line)s holds a zero byte: this is not a text file.") % {"line": line}
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise TableError(
            _("Line %(line)s is not UTF-8 text (byte %(byte)s). Save the file as CSV (UTF-8).")
            % {"line": line, "byte": f"{data[error.start]:#04x}"}
        ) from error
    if (count := max(text.count("\n"), text.count("\r"))) > LIMIT_LINES:
        raise TableError(
            _("The file has %(count)s lines, more than %(most)s. Split it into several files.")
            % {"count": counted(count), "most": counted(LIMIT_LINES)}
        )
    return text


def _one_ending(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _delimiter(text: str) -> str:
    """Whichever the line of column names holds more of; no column's name has either in it."""
    header = text.lstrip().partition("\n")[0]
    return ";" if header.count(";") > header.count(",") else ","


def _records(text: str, delimiter: str) -> list[list[str]]:
    """All records, blank ones too, each padded to one cell more than there are columns."""
    import pandas as pd

    if not text.strip():
        raise TableError(_("The file is empty. Its first line must name the columns."))
    csv.field_size_limit(LIMIT_BYTES)
    width = len(next(csv.reader(io.StringIO(text.lstrip()), delimiter=delimiter)))
    if width > LIMIT_COLUMNS:
        raise TableError(
            _("The first line names %(count)s columns, more than %(most)s.")
            % {"count": width, "most": LIMIT_COLUMNS}
        )
    try:
        frame = pd.read_csv(
            io.StringIO(text),
            sep=delimiter,
            header=None,
            names=range(width + 1),
            index_col=False,
            dtype=str,
            keep_default_na=False,
            na_filter=False,
            skip_blank_lines=False,
        )
    except pd.errors.ParserError as error:
        raise TableError(_broken(text, delimiter, width)) from error
    return frame.to_numpy(dtype=object).tolist()


def _broken(text: str, delimiter: str, width: int) -> str:
    """Where the table breaks off: a row with too many cells or a quotation never closed."""
    reader = csv.reader(io.StringIO(text), delimiter=delimiter, strict=True)
    line = 1
    try:
        for record in reader:
            if len(record) > width:
                return _(
                    "Line %(line)s has %(cells)s cells but the first line names %(columns)s columns. "
                    "Put cells that hold a “%(sign)s” in quotation marks."
                ) % {"line": line, "cells": len(record), "columns": width, "sign": delimiter}
            line = reader.line_num + 1
    except csv.Error:
        pass
    return _("Line %(line)s opens a quotation mark that is not closed properly.") % {"line": line}


def _lines(records: list[list[str]], text: str) -> list[int]:
    """The line each record starts on; a quoted cell may run over several."""
    if text.count("\n") <= len(records):
        return list(range(1, len(records) + 1))
    lines, line = [], 1
    for record in records:
        lines.append(line)
        line += 1 + sum(cell.count("\n") for cell in record)
    return lines
