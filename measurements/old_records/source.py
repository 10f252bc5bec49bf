"""What kind of file it is: a log (CSV, or one sheet of a workbook), or an export of the whole shop."""

from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import PurePosixPath
from zipfile import ZipFile

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from measurements.old_records.archive import open_archive, read_part
from measurements.old_records.sheets import SHEETS, sheet_like
from measurements.old_records.table import (
    ARCHIVE_SIGNATURES,
    OLD_WORKBOOK_SIGNATURE,
    Table,
    TableError,
    first_line,
    read_exactly,
    read_table,
)
from measurements.old_records.workbook import Workbook, is_workbook

NO_WORKBOOK = gettext_noop(
    "The file cannot be read as a workbook, which its name says it is. Save it again as one; a table "
    "saved as text must be named .csv."
)
NO_ARCHIVE = gettext_noop(
    "The file cannot be read as a ZIP archive, which its name says it is. Save it again as one; a "
    "table saved as text must be named .csv."
)
#: What is said of text by the end of the file's name, where that cannot be text.
NAMED_ARCHIVES = {".xlsx": NO_WORKBOOK, ".xlsm": NO_WORKBOOK, ".zip": NO_ARCHIVE}


@dataclass
class Source:
    """A file as read. ``shop`` holds an export's tables by sheet; else it is a log, ``table``.

    ``sheets`` are the names of the workbook's sheets that may be chosen from, none for CSV.
    """

    file_name: str
    digest: str
    shop: dict[str, Table] = field(default_factory=dict)
    table: Table | None = None
    sheet: str = ""
    sheets: list[str] = field(default_factory=list)

    @property
    def is_shop(self) -> bool:
        return bool(self.shop)


def read_source(data: bytes, file_name: str = "", sheet: str = "") -> Source:
    """Read a file that somebody chose; ``sheet`` is the one of a workbook, the first if not said.

    Raises ``TableError`` when it is too large, hostile, damaged, or nothing that can be imported.
    """
    source = Source(file_name=file_name[:200], digest=sha256(data).hexdigest())
    _refuse_what_is_no_workbook(data, file_name)
    if data.startswith(ARCHIVE_SIGNATURES):
        archive = open_archive(data)
        if is_workbook(archive):
            _read_workbook(source, Workbook(data, archive), sheet)
        else:
            source.shop = _read_archive(archive)
    elif (name := sheet_like(first_line(data))) is not None:
        source.shop = {name: read_exactly(data)}
    else:
        source.table = read_table(data)
    return source


def _refuse_what_is_no_workbook(data: bytes, file_name: str) -> None:
    """Text under a workbook's name would be read as a table without rows."""
    kind = PurePosixPath(file_name.lower()).suffix
    if kind in NAMED_ARCHIVES and not data.startswith(
        (*ARCHIVE_SIGNATURES, OLD_WORKBOOK_SIGNATURE)
    ):
        raise TableError(_(NAMED_ARCHIVES[kind]))


def _read_workbook(source: Source, book: Workbook, wanted: str) -> None:
    names = book.sheet_names()
    if not names:
        raise TableError(_("The workbook holds no sheet of cells."))
    if set(names) & set(SHEETS) and not wanted:
        tables = {name: book.table(name) for name in names if name in SHEETS}
        if all(sheet_like(table.header) == name for name, table in tables.items()):
            source.shop = tables
            return
    source.sheets = names
    source.sheet = wanted or names[0]
    if source.sheet not in names:
        raise TableError(
            _("The workbook has no sheet “%(sheet)s”. It has: %(sheets)s.")
            % {"sheet": wanted[:80], "sheets": ", ".join(names)}
        )
    source.table = book.table(source.sheet)


def _read_archive(archive: ZipFile) -> dict[str, Table]:
    """The CSV files of an export, by sheet; anything else in the archive is refused by name."""
    tables: dict[str, Table] = {}
    for part in archive.infolist():
        path = PurePosixPath(part.filename)
        if part.is_dir() or path.name.startswith(".") or "__MACOSX" in path.parts:
            continue
        if path.suffix.lower() != ".csv" or path.stem not in SHEETS:
            raise TableError(
                _(
                    "The archive holds %(name)s. An archive can be imported only if it is an export "
                    "of the shop: %(files)s."
                )
                % {
                    "name": part.filename[:80],
                    "files": ", ".join(f"{name}.csv" for name in SHEETS),
                }
            )
        if path.stem in tables:
            raise TableError(
                _("The archive holds %(name)s twice. Keep one of the two.") % {"name": path.name}
            )
        tables[path.stem] = _exported(archive, part.filename, path)
    if not tables:
        raise TableError(_("The archive is empty: it holds none of the shop's CSV files."))
    return tables


def _exported(archive: ZipFile, part: str, path: PurePosixPath) -> Table:
    """One CSV file of an export. Raises ``TableError`` where a column is missing."""
    table = read_exactly(read_part(archive, part))
    if sheet_like(table.header) != path.stem:
        raise TableError(
            _("%(name)s lacks a column that an export has: %(columns)s.")
            % {"name": path.name, "columns": ", ".join(SHEETS[path.stem].needed)}
        )
    return table
