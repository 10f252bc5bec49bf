"""Cells of an export: text a spreadsheet cannot run, exact numbers, and the way back.

A spreadsheet takes a cell of a CSV file that begins with = + - @, a tab or a line's end for a formula or
may lose its beginning; an apostrophe before it makes it text. One is put before each such cell, also
before one that begins with apostrophes and then such a sign, and exactly one is taken off again, so that
every text comes back as it was.
"""

import re

RUNS = re.compile(r"'*(?:\s*[=+\-@＝＋－＠]|[\t\r\n])")
HARMLESS = re.compile(r"'+(?:\s*[=+\-@＝＋－＠]|[\t\r\n])")
#: What XML cannot hold or would change, and what would be read as such an escape.
NOT_FOR_XML = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")


def harmless(text: str) -> str:
    """The text for a cell of a CSV file, an apostrophe put before what a spreadsheet would run."""
    return f"'{text}" if RUNS.match(text) else text


def as_it_was(cell: str) -> str:
    """A CSV cell's text without the apostrophe that ``harmless`` put before it."""
    return cell[1:] if HARMLESS.match(cell) else cell


def for_workbook(text: str) -> str:
    """Text for a cell of an XLSX sheet: control characters as the format's own escapes."""
    return NOT_FOR_XML.sub(lambda found: f"_x{ord(found[0]):04X}_", text)


def from_workbook(text: str) -> str:
    """A cell's text with those escapes resolved; no database could hold what is left alone."""

    def sign(found: re.Match[str]) -> str:
        code = int(found[1], 16)
        return found[0] if code == 0 or 0xD800 <= code <= 0xDFFF else chr(code)

    return ESCAPED.sub(sign, text) if "_x" in text else text
