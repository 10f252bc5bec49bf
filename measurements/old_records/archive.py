"""Files that came from outside as ZIP archives: looked at hard before anything opens them.

An XLSX workbook is a ZIP of XML parts. What it claims to unpack to is read from its directory first;
Python's reader never unpacks more of a part than the directory says.
"""

import io
import re
import zipfile

from django.utils.translation import gettext as _

from measurements.old_records.table import TableError, too_large
from shop.figures import counted, decimal

LIMIT_BYTES = 20_000_000
LIMIT_UNZIPPED = 200_000_000
LIMIT_PARTS = 2_000
LIMIT_ELEMENTS = 10_000_000  # of XML: each takes some 100 bytes of memory while it is read
PIECE = 1 << 20
ENCODING = re.compile(rb"<\?xml[^>]{0,200}?encoding\s*=\s*[\"']([A-Za-z0-9._-]+)", re.IGNORECASE)
XML_NAMES = (".xml", ".rels", ".vml")
XML_BEGINS = re.compile(rb"(?:\xef\xbb\xbf)?\s*<|\xff\xfe|\xfe\xff|\0<|<\0")
PLAIN_ENCODINGS = (b"utf-8", b"utf8", b"us-ascii", b"ascii")
# A formula's cell without a result. One of kind "str" was calculated: its result is no text at all.
NEVER_CALCULATED = re.compile(
    rb"<c\b(?![^<>]*\bt=[\"']str[\"'])[^<>]*><f\b[^<]*(?:</f>)?(?:<v\s*/>|<v></v>)?</c>"
)


def open_archive(data: bytes) -> zipfile.ZipFile:
    """Open a ZIP archive that keeps to the limits.

    Raises ``TableError`` if it is none, is encrypted, or would unpack to too much.
    """
    if len(data) > LIMIT_BYTES:
        raise TableError(too_large(len(data), LIMIT_BYTES))
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError) as error:
        raise TableError(
            _(
                "The file begins like a workbook or ZIP archive but is cut off or damaged. "
                "Save or download it again."
            )
        ) from error
    parts = archive.infolist()
    total = sum(part.file_size for part in parts)
    if total > LIMIT_UNZIPPED:
        raise TableError(
            _(
                "The file says it unpacks to %(size)s MB, more than %(most)s MB. "
                "Split it into several files."
            )
            % {"size": counted(round(total / 1e6)), "most": decimal(LIMIT_UNZIPPED / 1e6, 0)}
        )
    if len(parts) > LIMIT_PARTS:
        raise TableError(
            _("The archive holds %(count)s files, more than %(most)s.")
            % {"count": counted(len(parts)), "most": counted(LIMIT_PARTS)}
        )
    if any(part.flag_bits & 1 for part in parts):
        raise TableError("The archive is encrypted. Save it without a password.")
    return archive


def read_part(archive: zipfile.ZipFile, name: str) -> bytes:
    """One member's bytes. Raises ``TableError`` if it is damaged."""
    try:
        return archive.read(name)
    except (zipfile.BadZipFile, OSError, EOFError, NotImplementedError, RuntimeError) as error:
        raise TableError(
            _("The part %(name)s is damaged. Save the file again.") % {"name": name[:80]}
        ) from error
    except Exception as error:  # zlib.error and lzma.LZMAError have no common parent
        raise TableError(
            _("The part %(name)s cannot be unpacked. Save it again.") % {"name": name[:80]}
        ) from error


def check_workbook(archive: zipfile.ZipFile) -> None:
    """Look through every XML part for what no spreadsheet program writes.

    Raises ``TableError`` at a document type (the way to entities that grow or read other files), at
    an encoding that could hide one, at more elements than memory should hold, and at formulas whose
    result was never saved, which would come in as empty cells.
    """
    elements = 0
    for part in archive.infolist():
        content = read_part(archive, part.filename)
        # A workbook names its sheets' parts itself: one of any name may be read as XML.
        if part.filename.lower().endswith(XML_NAMES) or XML_BEGINS.match(content):
            _check_part(part.filename, content)
            elements += content.count(b"<") - content.count(b"</")
            if elements > LIMIT_ELEMENTS:
                raise TableError(
                    _(
                        "The workbook holds too many cells. Split it, or save the sheet as CSV "
                        "(UTF-8)."
                    )
                )


def _check_part(name: str, content: bytes) -> None:
    named = ENCODING.search(content[:1000])
    if b"\0" in content or (named and named[1].lower() not in PLAIN_ENCODINGS):
        raise TableError(
            _("The part %(name)s is not UTF-8 text. Save the workbook again.") % {"name": name[:80]}
        )
    if b"<!DOCTYPE" in content or b"<!ENTITY" in content:
        raise TableError(
            _(
                "The part %(name)s declares a document type, which no spreadsheet program does. "
                "Nothing was read."
            )
            % {"name": name[:80]}
        )
    if NEVER_CALCULATED.search(content):
        raise TableError(
            _(
                "The workbook holds formulas whose results were never saved. Open it in a spreadsheet "
                "program, save it, and import it again."
            )
        )
