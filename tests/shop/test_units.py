"""Every place that treats units of length apart knows every unit."""

import re
from pathlib import Path

import pytest

from geometry.units import UNITS, format_length, parse_length
from measurements.drawings import parts, trend_svg
from measurements.old_records.columns import action_column
from measurements.old_records.matching import UNIT_WORDS, guess, unit_named
from shop.models import Unit

TEMPLATES = Path(__file__).parents[2] / "templates"


def test_a_person_may_choose_every_unit_that_lengths_are_read_in():
    assert Unit.values == list(UNITS)


@pytest.mark.parametrize(
    "table",
    [trend_svg.STEPS, trend_svg.HEADINGS, parts.SCALE_MM, parts.FIGURES_IN, UNIT_WORDS],
)  # fmt: skip
def test_pictures_and_headings_know_every_unit(table):
    assert list(table) == list(UNITS)


@pytest.mark.parametrize("unit", UNITS)
def test_a_length_reads_back_as_it_was_written(unit):
    step_mm = UNITS[unit].mm / 10 ** UNITS[unit].decimals
    read = parse_length(format_length(37 * step_mm, unit))
    assert read.unit == unit
    assert read.mm == pytest.approx(37 * step_mm)


@pytest.mark.parametrize("unit", UNITS)
def test_a_log_may_be_in_every_unit(unit):
    column = action_column(f"action_12_bass_{unit}")
    assert column is not None
    assert column.read(f"{2 / UNITS[unit].mm}"[:12]) == pytest.approx(2)
    assert guess(f"relief_{unit}") == "relief"
    assert unit_named(f"relief ({unit})") == unit


@pytest.mark.parametrize(
    "said",
    [
        pytest.param(said, id=path.name)
        for path in sorted(TEMPLATES.rglob("*.html"))
        if (said := re.findall(r'unit == "(\w+)"', path.read_text(encoding="utf-8")))
    ],
)
def test_a_page_that_names_the_unit_of_bare_numbers_knows_every_unit(said):
    assert ["mm", *said] == list(UNITS)
