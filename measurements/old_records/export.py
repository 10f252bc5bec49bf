"""Export of the whole shop: customers, instruments with their joints, readings and work.

An XLSX workbook of four sheets or a ZIP of four CSV files, in columns that the import takes back. The
records that others rest on are read last, so that whatever is saved meanwhile leaves none without its
instrument or customer.
"""

import csv
import io
import tempfile
import zipfile
from collections.abc import Iterator
from typing import IO, Any

from django.utils.translation import gettext as _

from instruments.models import Instrument
from measurements.models import ActionReading, CheckIn, Work
from measurements.old_records.cells import for_workbook, harmless
from measurements.old_records.sheets import JOINT, SHEETS, Cell, Sheet
from shop.models import Customer

CHUNK = 2000
LONGEST_CELL = 32_767  # of a worksheet
LAST_FIRST = tuple(reversed(SHEETS))


class ExportError(Exception):
    """The shop cannot be written in this form; the message says in which it can."""


def header(sheet: Sheet) -> list[str]:
    """The sheet's column names; readings with a column for each place at which any action was read."""
    if sheet.name != "readings":
        return sheet.names
    places = ActionReading.objects.order_by("fret", "side").values_list("fret", "side").distinct()
    return sheet.names + [f"action_{fret}_{side}_mm" for fret, side in places]


def records(sheet: Sheet, names: list[str]) -> Iterator[list[Cell]]:
    """Every record as a row of cells, oldest first."""
    columns = {column.name: column for column in sheet.columns}
    for record in _rows(sheet):
        cells = {name: column.cell(getattr(record, column.key)) for name, column in columns.items()}
        cells |= _references(record)
        if isinstance(record, CheckIn):
            for reading in record.action_readings.all():
                cells[f"action_{reading.fret}_{reading.side}_mm"] = reading.action_mm
        if isinstance(record, Instrument) and (joint := getattr(record, "joint", None)):
            for column in sheet.joint:
                cells[JOINT + column.key] = column.cell(getattr(joint, column.key))
        if unknown := cells.keys() - set(names):
            raise ExportError(
                _("%(columns)s was read while the export ran. Export again.") % {"columns": unknown}
            )
        yield [cells.get(name) for name in names]


def _rows(sheet: Sheet) -> Iterator[Any]:
    if sheet.model is Customer:
        found: Any = Customer.objects.order_by("pk")
    elif sheet.model is Instrument:
        found = Instrument.objects.order_by("pk").select_related("customer", "joint")
    elif sheet.model is CheckIn:
        found = CheckIn.objects.order_by("pk").select_related(
            "instrument", "measured_by", "voided_by", "replaces"
        )
        found = found.prefetch_related("action_readings")
    else:
        found = Work.objects.order_by("pk").select_related("instrument", "done_by", "voided_by")
    yield from found.iterator(chunk_size=CHUNK)


def _references(record: Any) -> dict[str, Cell]:
    if isinstance(record, Customer):
        return {}
    if isinstance(record, Instrument):
        return {"customer": record.customer.code if record.customer else None}
    named: dict[str, Cell] = {"tag": record.instrument.tag}
    named["voided_by"] = record.voided_by.username if record.voided_by else None
    if isinstance(record, Work):
        named["done_by"] = record.done_by.username if record.done_by else None
    else:
        named["measured_by"] = record.measured_by.username if record.measured_by else None
        named["replaces"] = str(record.replaces.uuid) if record.replaces else None
    return named


class _Pipe(io.RawIOBase):
    """A file that is only written to; what was written is taken out as it comes."""

    def __init__(self) -> None:
        self.parts: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self.parts.append(bytes(data))
        return len(data)

    def taken(self) -> bytes:
        parts, self.parts = self.parts, []
        return b"".join(parts)


def as_archive() -> Iterator[bytes]:
    """The ZIP of four CSV files (UTF-8, commas, numbers with a point), piece by piece."""
    pipe = _Pipe()
    with zipfile.ZipFile(pipe, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in LAST_FIRST:
            info = zipfile.ZipInfo(f"{name}.csv")
            info.compress_type = zipfile.ZIP_DEFLATED
            with archive.open(info, "w", force_zip64=True) as member:
                for text in _csv_lines(SHEETS[name]):
                    member.write(text.encode("utf-8"))
                    if len(pipe.parts) > 8:
                        yield pipe.taken()
            yield pipe.taken()
    yield pipe.taken()


def _csv_lines(sheet: Sheet) -> Iterator[str]:
    names = header(sheet)
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(names)
    for cells in records(sheet, names):
        writer.writerow([harmless(cell) if isinstance(cell, str) else cell for cell in cells])
        if buffer.tell() > 50_000:
            yield buffer.getvalue()
            buffer.seek(0)
            buffer.truncate()
    yield buffer.getvalue()


def as_workbook() -> IO[bytes]:
    """The XLSX workbook, in a temporary file that is gone when closed. Raises ``ExportError``."""
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell

    book = Workbook(write_only=True)
    pages = {name: book.create_sheet(name) for name in SHEETS}
    for name in LAST_FIRST:
        page = pages[name]
        page.freeze_panes = "B2"
        names = header(SHEETS[name])
        page.append(names)
        for cells in records(SHEETS[name], names):
            page.append([_workbook_cell(WriteOnlyCell, page, cell) for cell in cells])
    file = tempfile.TemporaryFile()  # noqa: SIM115  whoever takes it closes it
    book.save(file)
    file.seek(0)
    return file


def _workbook_cell(make: Any, page: Any, value: Cell) -> Any:
    """A cell whose text is never a formula, and whose number keeps every digit."""
    if value is None:
        return None
    if isinstance(value, float | int):
        cell = make(page)
        cell._value, cell.data_type = repr(value), "n"  # openpyxl itself would write 16 digits
        return cell
    text = for_workbook(value)
    if len(text) > LONGEST_CELL:
        raise ExportError(
            _("A text is too long for a worksheet's cell. Take the CSV files instead.")
        )
    if harmless(value) == value:
        return text
    cell = make(page)
    cell._value, cell.data_type, cell.quotePrefix = text, "s", True
    return cell
