"""What stands in a box from the start: as the reader writes it, and read back as what was meant."""

import pytest
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from geometry.units import parse_length
from shop.fields import (
    LengthField,
    QuantityField,
    RepeatedLengthField,
    exact_in_box,
    in_box,
    is_readable,
    length_in_box,
    readings_in_box,
)


def parse_plainly(text):
    return parse_length(text).mm


@pytest.mark.parametrize(
    ("language", "mm", "unit", "shown"),
    [
        ("en-gb", 2.4, "mm", "2.40 mm"),
        ("de", 2.4, "mm", "2,40 mm"),
        ("de", -0.3, "mm", "\u22120,30 mm"),
        ("de", 2.4, "in", "0,094 in"),
        ("de", 75.0, "in", "2,953 in"),
    ],
)
def test_a_length_has_the_decimal_comma_where_it_is_understood(language, mm, unit, shown):
    with translation.override(language):
        assert length_in_box(mm, unit) == shown


@pytest.mark.parametrize(
    ("language", "mm", "shown"),
    [
        ("en-gb", 647.7, "647.7 mm"),
        ("de", 647.7, "647,7 mm"),
        ("de", 628.65, "628,65 mm"),
        ("de", 25.125, "25,125 mm"),
        ("de", 406.0, "406 mm"),
        ("de", 0.0, "0"),
        ("de", 1e-17, "0"),
    ],
)
def test_a_kept_length_too(language, mm, shown):
    with translation.override(language):
        assert exact_in_box(mm) == shown


@given(st.floats(-400, 400), st.sampled_from(("mm", "in")), st.sampled_from(("en-gb", "de")))
def test_what_stands_in_the_box_is_read_back(mm, unit, language):
    field = LengthField(possible=(-500, 500))
    rounding = 0.0051 if unit == "mm" else 0.0128  # half of the last digit shown, in mm
    with translation.override(language):
        assert field.clean(length_in_box(mm, unit)) == pytest.approx(mm, abs=rounding)
        assert field.clean(exact_in_box(mm)) == pytest.approx(mm, rel=1e-5, abs=1e-4)


def test_several_readings_are_read_back():
    with translation.override("de"):
        assert readings_in_box([2.4, 1.375]) == "2,4 1,375 mm"
        field = RepeatedLengthField(possible=(-5, 5))
        assert field.figures("2,4 1,375 mm") == (2.4, 1.375)


def test_a_figure_that_would_be_misread_keeps_its_point():
    with translation.override("de"):
        assert in_box("1.125", parse_plainly) == "1.125"  # "1,125" may be thousands to it
        assert in_box("1.5", parse_plainly) == "1,5"


def test_what_another_typed_is_taken_over_only_where_it_is_read_alike():
    assert not is_readable("25,400")  # as someone typed it whose decimal sign is a comma
    assert is_readable("2,4; 2,5")
    assert not is_readable("")
    with translation.override("de"):
        assert is_readable("25,400")


@pytest.mark.parametrize(
    ("kind", "value", "shown"),
    [
        ("angle", 0.25, "0,25"),
        ("angle", -1.5, "-1,5"),
        ("angle", 1e-17, "0"),
        ("turns", 1.125, "1,125"),
        ("humidity", 47.0, "47"),
    ],
)
def test_a_quantity_has_it_as_well(kind, value, shown):
    field = QuantityField(kind, possible=(-100, 100))
    with translation.override("de"):
        assert field.prepare_value(value) == shown
        assert field.clean(shown) == pytest.approx(value)


def test_what_a_german_is_refused_or_asked_has_figures_as_he_writes_them():
    field = QuantityField("angle", label="Tilt", possible=(-5, 5), usual=(-1, 1))
    with translation.override("de"):
        assert "7,25°" in field.refusal(7.25)
        assert "\u22125°" in field.refusal(7.25)
        assert "2,4°" in field.question(2.4)
