"""Text, tables and workbooks that nobody wrote: understood or refused in words, and never a fault.

The examples are the same every time (``derandomize``), so a run says the same twice.
"""

import io
import math
import zipfile
from collections.abc import Callable
from datetime import date
from functools import partial
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from geometry.repeats import REPEATS_LIMIT, parse_lengths
from geometry.units import format_length, parse_length, parse_quantity
from instruments.models import Instrument
from measurements.models import CheckIn, ImportRun, Work
from measurements.old_records.columns import known_columns
from measurements.old_records.planning import import_file
from measurements.old_records.sheets import SHEETS
from measurements.old_records.table import TableError
from shop.models import Customer
from tests.hostile.values import VALUES

SAME = settings(
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
TEXTS = st.one_of(
    st.text(max_size=60),
    st.text("0123456789.,/+-−–½¾ \t;:'\"′″mMiInNeE%°CFRHturns\0\u202e٣", max_size=45),
    st.sampled_from(sorted(VALUES.values())),
    st.floats().map(repr),
    st.floats().map(lambda value: f"{value!r} mm"),
)
KINDS = ("humidity", "temperature", "turns", "angle")


def outcome(
    parse: Callable[..., Any], *sent: Any, refusing: type[Exception] = ValueError
) -> tuple[Any, str]:
    """What was understood, or the words of the refusal; any other fault goes through."""
    try:
        return parse(*sent), ""
    except refusing as error:
        return None, str(error)


def is_sentence(refusal: str) -> bool:
    return refusal.isprintable() and 20 < len(refusal) < 400


@given(TEXTS, st.sampled_from(["mm", "in"]))
@settings(SAME, max_examples=1500)
def test_a_length_is_read_or_refused(text, unit):
    found, refusal = outcome(parse_length, text, unit)
    if found is None:
        assert is_sentence(refusal)
        return
    assert math.isfinite(found.mm)
    assert abs(found.mm) <= 2000
    # "-0" is nothing, whatever its sign.
    assert math.copysign(1, found.mm) == 1 or found.mm < 0
    # A length shown in mm has two decimals, in inches three: it comes back within half of the last one.
    assert abs(parse_length(format_length(found.mm, "mm")).mm - found.mm) <= 0.00501
    assert abs(parse_length(format_length(found.mm, "in")).mm - found.mm) <= 0.0127001


@given(TEXTS)
@settings(SAME, max_examples=1000)
def test_several_lengths_are_read_or_refused(text):
    found, refusal = outcome(parse_lengths, text)
    if found is None:
        assert is_sentence(refusal)
        return
    assert 1 <= len(found) <= REPEATS_LIMIT
    assert all(abs(length.mm) <= 2000 for length in found)


@given(TEXTS, st.sampled_from(KINDS))
@settings(SAME, max_examples=1500)
def test_a_quantity_is_read_or_refused(text, kind):
    found, refusal = outcome(parse_quantity, text, kind)
    if found is None:
        assert is_sentence(refusal)
        return
    assert math.isfinite(found.value)
    assert abs(found.value) <= 100
    assert math.copysign(1, found.value) == 1 or found.value < 0


# Files

COLUMNS = sorted(known_columns(date(2026, 1, 1)))
SHOP_COLUMNS = sorted({name for sheet in SHEETS.values() for name in sheet.names})
GOOD = {"tag": "K7", "checked_in_on": "2020-02-03", "bridge_rise_mm": "0.4"}
CELLS = st.one_of(
    st.sampled_from(["", "K7", "2020-02-03", "0.4", "2,4", "6/64", "steel", "yes", "as returned"]),
    TEXTS,
)
HEADINGS = st.lists(
    st.one_of(st.sampled_from(COLUMNS), st.sampled_from(SHOP_COLUMNS), st.text(max_size=8)),
    min_size=1,
    max_size=6,
)


@st.composite
def tables(draw) -> list[list[str]]:
    """A log that is right but for what was drawn: other columns, other cells, ragged rows."""
    more = draw(HEADINGS)
    rows = draw(st.lists(st.lists(CELLS, max_size=8), max_size=4))
    start = list(GOOD) if draw(st.booleans()) else []
    values = list(GOOD.values()) if start else []
    return [[*start, *more], *([*values, *row] for row in rows)]


def as_csv(rows, between: str, ending: str) -> bytes:
    quoted = (
        between.join('"' + cell.replace('"', '""') + '"' if '"' in cell else cell for cell in row)
        for row in rows
    )
    return ending.join(quoted).encode("utf-8", "surrogatepass")


def taken_in(data: bytes) -> None:
    """Import, then see that all of it is there or nothing; the database is left as it was."""
    with transaction.atomic():
        report, refusal = outcome(
            partial(import_file, today=date(2026, 1, 1)), data, refusing=TableError
        )
        assert report or 10 < len(refusal) < 5000
        if report is None or not report.written:
            for model in (ImportRun, Customer, Instrument, CheckIn, Work):
                assert not model.objects.exists()
        transaction.set_rollback(True)


@pytest.mark.django_db
@given(tables(), st.sampled_from([",", ";", "\t"]), st.sampled_from(["\n", "\r\n", "\r"]))
@settings(SAME, max_examples=250)
def test_any_table_is_taken_in_or_refused(rows, between, ending):
    taken_in(as_csv(rows, between, ending))


def spoilt(draw, data: bytes) -> bytes:
    """The same bytes with some of them changed, left out or doubled."""
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, max(len(data) - 1, 0)))
        to = min(len(data), at + draw(st.integers(0, 30)))
        middle = draw(st.one_of(st.binary(max_size=12), st.just(data[at:to] * 2)))
        data = data[:at] + middle + data[to:]
    return data


LOG = as_csv([list(GOOD), list(GOOD.values()), list(GOOD.values())], ",", "\n")


@pytest.mark.django_db
@given(st.data())
@settings(SAME, max_examples=200)
def test_a_log_of_which_bytes_were_changed(data):
    taken_in(spoilt(data.draw, LOG))


def workbook(rows) -> bytes:
    book = Workbook(write_only=True)
    page = book.create_sheet("log")
    for row in rows:
        page.append(row)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


BOOK = workbook([list(GOOD), list(GOOD.values())])
PARTS = sorted(zipfile.ZipFile(io.BytesIO(BOOK)).namelist())


@pytest.mark.django_db
@given(st.data())
@settings(SAME, max_examples=150)
def test_a_workbook_of_which_bytes_were_changed(data):
    taken_in(spoilt(data.draw, BOOK))


@pytest.mark.django_db
@given(st.data(), st.sampled_from(PARTS))
@settings(SAME, max_examples=250)
def test_a_workbook_of_which_a_part_was_changed(data, spoiled):
    file = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(BOOK)) as old, zipfile.ZipFile(file, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            new.writestr(name, spoilt(data.draw, content) if name == spoiled else content)
    taken_in(file.getvalue())


ALPHABET = st.characters(exclude_categories=["Cs", "Cc"])
WORKBOOK_CELLS = st.one_of(
    st.text(ALPHABET, max_size=20),
    st.floats(allow_nan=False, allow_infinity=False),
    st.integers(-(10**12), 10**12),
    st.booleans(),
    st.dates(),
    st.datetimes(),
    st.times(),
    st.none(),
)


@pytest.mark.django_db
@given(HEADINGS, st.lists(st.lists(WORKBOOK_CELLS, max_size=6), max_size=3))
@settings(SAME, max_examples=150)
def test_any_cells_of_a_workbook(more, rows):
    clean = ["".join(c for c in name if c.isprintable()) for name in more]
    taken_in(workbook([[*GOOD, *clean], *([*GOOD.values(), *row] for row in rows)]))
