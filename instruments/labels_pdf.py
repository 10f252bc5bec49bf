"""A sheet of tag labels as a PDF: exact millimetres, a QR code, the tag, the instrument's own words."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import segno
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from instruments.labels import (
    LEAST_MODULE_MM,
    LINE,
    QUIET_MODULES,
    Sheet,
    letters_wide,
    places,
    tag_size_mm,
)
from instruments.models import Instrument
from shop.figures import decimal, shortest
from shop.pdf import write_pdf

WORDS_MM = 2.2
GAP_MM = 1.0
LONGEST_WORDS = 120


class CodeTooFineError(ValueError):
    """The address makes a code whose squares a phone could not tell apart at this size of label."""


@dataclass(frozen=True)
class Label:
    """What one label shows; ``lines`` is how many lines of words have room below the tag."""

    place: int
    tag: str
    words: str
    code: str
    size: int  # of the tag's letters, in tenths of a mm
    lines: int


def code_for(address: str) -> segno.QRCode:
    """The QR code of an address; a sixth of it at least may be soiled and it still reads."""
    return segno.make(address, error="m", micro=False)


def label_words(instrument: Instrument) -> str:
    """Maker, model and serial number: nothing of whose it is."""
    serial = _("no. %(serial)s") % {"serial": instrument.serial} if instrument.serial else ""
    words = " ".join(part for part in (instrument.maker, instrument.model, serial) if part)
    return words[:LONGEST_WORDS]


def label_pages(
    instruments: Sequence[Instrument],
    sheet: Sheet,
    address_of: Callable[[Instrument], str],
    *,
    start: int = 1,
    copies: int = 1,
) -> list[list[Label]]:
    """The labels, sheet by sheet; raises ``CodeTooFineError`` where a code would be too fine to read."""
    pages: list[list[Label]] = []
    spots = places(sheet, len(instruments) * copies, start)
    for instrument in instruments:
        made = _label(instrument, sheet, address_of(instrument))
        for _copy in range(copies):
            page, place = next(spots)
            while len(pages) <= page:
                pages.append([])
            pages[page].append(Label(place, *made))
    return pages


def _label(instrument: Instrument, sheet: Sheet, address: str) -> tuple[str, str, str, int, int]:
    code = code_for(address)
    modules = int(code.symbol_size(border=0)[0])
    if sheet.module_mm(modules) < LEAST_MODULE_MM:
        raise CodeTooFineError(
            _(
                "The address %(address)s is too long for labels of this size: the squares of its "
                "code would be %(squares)s mm, and a phone needs %(least)s mm. Choose larger labels."
            )
            % {
                "address": address,
                "squares": decimal(sheet.module_mm(modules), 2),
                "least": shortest(LEAST_MODULE_MM),
            }
        )
    width, height = sheet.room_mm
    beside = width - sheet.code_mm - GAP_MM
    size = tag_size_mm(instrument.tag, beside)
    tag_lines = max(1, math.ceil(letters_wide(instrument.tag) * size / beside))
    lines = int((height - _above_mm(sheet) - tag_lines * LINE * size) / (1.2 * WORDS_MM))
    source = code.svg_data_uri(border=QUIET_MODULES, light="#fff", encode_minimal=True)
    return instrument.tag, label_words(instrument), source, round(10 * size), min(lines, 4)


def _above_mm(sheet: Sheet) -> float:
    """Where the words begin: level with the code's own squares, below its quiet zone."""
    return (sheet.room_mm[1] - sheet.code_mm) / 2 + 0.08 * sheet.code_mm


def style_of(sheet: Sheet, *, outlines: bool = False) -> str:
    """The style sheet that puts every place of a sheet where it is."""
    width, height = sheet.room_mm
    paper = f"{sheet.paper_mm[0]}mm {sheet.paper_mm[1]}mm"
    rules = [
        f"@page {{ size: {paper}; margin: 0; }}",
        "body { margin: 0; font-family: 'DejaVu Sans', sans-serif; color: #000; }",
        f".sheet {{ position: relative; width: {sheet.paper_mm[0]}mm; "
        f"height: {sheet.paper_mm[1]}mm; break-after: page; overflow: hidden; }}",
        ".sheet:last-child { break-after: auto; }",
        f".label {{ position: absolute; width: {width}mm; height: {height}mm; overflow: hidden; }}",
        f".label img {{ position: absolute; left: 0; top: {(height - sheet.code_mm) / 2}mm; "
        f"width: {sheet.code_mm}mm; height: {sheet.code_mm}mm; }}",
        f".beside {{ position: absolute; left: {sheet.code_mm + GAP_MM}mm; "
        f"top: {_above_mm(sheet)}mm; width: {width - sheet.code_mm - GAP_MM}mm; "
        f"height: {height - _above_mm(sheet)}mm; }}",
        f".tag {{ font-weight: 700; line-height: {LINE}; overflow-wrap: anywhere; margin: 0; }}",
        f".words {{ font-size: {WORDS_MM}mm; line-height: 1.2; margin: 0; overflow: hidden; "
        "overflow-wrap: anywhere; }",
        ".outline { position: absolute; box-sizing: border-box; border: .2mm dashed #999; }",
    ]
    rules += [f".size-{size} {{ font-size: {size / 10}mm; }}" for size in range(22, 91)]
    rules += [
        f".lines-{lines} {{ max-lines: {lines}; block-ellipsis: auto; }}" for lines in range(1, 5)
    ]
    for place in range(sheet.count):
        inner, outer = sheet.printable(place), sheet.box(place)
        rules.append(f".at-{place} {{ left: {inner.left_mm}mm; top: {inner.top_mm}mm; }}")
        if outlines:
            rules.append(
                f".edge-{place} {{ left: {outer.left_mm}mm; top: {outer.top_mm}mm; "
                f"width: {outer.width_mm}mm; height: {outer.height_mm}mm; }}"
            )
    return "\n".join(rules)


def labels_pdf(pages: Sequence[Sequence[Label]], sheet: Sheet, *, outlines: bool = False) -> bytes:
    """The sheets as a PDF; raises ``PdfUnavailableError`` where system libraries are missing."""
    context = {"pages": pages, "edges": range(sheet.count) if outlines else ()}
    html = render_to_string("instruments/labels_pdf.html", context)
    return write_pdf(html, [style_of(sheet, outlines=outlines)])
