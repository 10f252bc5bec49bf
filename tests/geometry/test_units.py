import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.units import (
    Length,
    Quantity,
    format_length,
    format_turns,
    parse_length,
    parse_quantity,
)
from tests.geometry.reference_files import rows

# 1 in = 25.4 mm exactly (international yard and pound agreement, 1959); the rest is arithmetic.
LENGTHS = [
    ("2.4", 2.4, "mm"),
    ("2.4 mm", 2.4, "mm"),
    ("2.4MM", 2.4, "mm"),
    ("2,4", 2.4, "mm"),
    ("0,094 in", 2.3876, "in"),
    ('0.094"', 2.3876, "in"),
    (".094 in", 2.3876, "in"),
    ("2.", 2.0, "mm"),
    ("0", 0.0, "mm"),
    ("-0", 0.0, "mm"),
    ("+1.5", 1.5, "mm"),
    ("-0.3", -0.3, "mm"),
    ("\u22120.3", -0.3, "mm"),
    ("- 0.3", -0.3, "mm"),
    ("6/64", 2.38125, "in"),
    ("6 / 64", 2.38125, "in"),
    ("1 1 /64 in", 25.796875, "in"),
    ("3/32 in", 2.38125, "in"),
    ("3/32in.", 2.38125, "in"),
    ("3\u204432 in", 2.38125, "in"),
    ('1 1/64"', 25.796875, "in"),
    ("-1 1/64", -25.796875, "in"),
    ("1/2 mm", 0.5, "mm"),
    ("0.094\u2033", 2.3876, "in"),
    ("0.094\u201d", 2.3876, "in"),
    ("0.094''", 2.3876, "in"),
    ("\u00bd", 12.7, "in"),
    ("1\u00bd inch", 38.1, "in"),
    ("\u00bd mm", 0.5, "mm"),
    ("\u215f16", 1.5875, "in"),
    ("2 inches", 50.8, "in"),
    ("2.4\u00a0mm", 2.4, "mm"),
    ("  2.4\r\n", 2.4, "mm"),
]
REFUSED = [
    ("", "Nothing was typed"),
    ("   ", "Nothing was typed"),
    ("nan", "“nan” is not a plain number"),
    ("inf", "“inf” is not a plain number"),
    ("1e308", "“1e308” is not a plain number"),
    ("0x10", "“0x10” is not a plain number"),
    ("--2", "is not a plain number"),
    (".", "is not a plain number"),
    ("/", "is not a plain number"),
    ("1/2/3", "is not a plain number"),
    ("1.5/2", "is not a plain number"),
    ("1-1/64", "is not a plain number"),
    ("٣", "is not a plain number"),
    ("mm 2.4", "is not a plain number"),
    ("mm", "is not one plain number"),
    ("2.4mm2.4", "is not a plain number"),
    ("1/0", "“1/0” divides by zero"),
    ("1 1/0 in", "divides by zero"),
    ("1 5/4", "a whole number beside a fraction of one or more"),
    ("1 2 3/4", "is not one plain number"),
    ("2.4 2.5", "is not one plain number"),
    ("2.4 1/2", "is not one plain number"),
    ("1 -1/2", "is not one plain number"),
    ("1 2", "is not a plain number"),
    ("1,234.5", "“1,234.5” is ambiguous"),
    ("1,234", "is ambiguous"),
    ("2.4 mm in", "names two units"),
    ("2.4 mm mm", "names two units"),
    ("5 cm", "has a unit that is not known here, cm"),
    ("2.4 mm deep", "has a unit that is not known here, mm deep"),
    ("5'", "has a unit that is not known here, '"),
    ("2001 mm", "is more than 2000 mm"),
    ("9" * 40, "is more than 2000 mm"),
    ("9" * 41, "is 41 characters long, more than 40"),
    ("2.4\u202e", r"“2.4\u202e” holds an invisible control character"),
    ("2\x00", r"“2\u0000” holds an invisible control character"),
    ("2\u200b.4", r"“2\u200b.4” holds an invisible control character"),
]


@pytest.mark.parametrize(("text", "mm", "unit"), LENGTHS)
def test_lengths_as_people_type_them(text, mm, unit):
    assert parse_length(text) == Length(mm, unit, text)


@pytest.mark.parametrize(("text", "why"), REFUSED)
def test_it_refuses_what_is_not_plainly_one_length(text, why):
    with pytest.raises(ValueError, match=re.escape(why)) as refusal:
        parse_length(text)
    assert "write a number such as 2.4 mm" in str(refusal.value)


def test_a_plain_number_takes_the_persons_own_unit():
    assert parse_length(".094", "in").mm == pytest.approx(2.3876)
    assert parse_length("2.4 mm", "in") == Length(2.4, "mm", "2.4 mm")


@pytest.mark.parametrize("row", rows("sixty_fourths.csv"), ids=lambda r: r["n"])
def test_every_sixty_fourth_is_exact(row):
    # Exact by definition of the inch; both ways of writing it, and back.
    mm = float(row["mm"])
    assert parse_length(f"{row['n']}/64").mm == mm
    assert parse_length(f'{row["reduced"]}"').mm == mm
    assert parse_length(f"{row['inch']} in").mm == mm
    assert parse_length(format_length(mm, "in", sixty_fourths=True)).mm == mm


@pytest.mark.parametrize(
    ("mm", "options", "text"),
    [
        (2.4, {}, "2.40 mm"),
        (-0.3, {}, "\u22120.30 mm"),
        (-0.001, {}, "0.00 mm"),
        (2.38125, {"unit": "in"}, "0.094 in"),
        (2.38125, {"unit": "in", "sixty_fourths": True}, "6/64 in"),
        (2.5, {"unit": "in", "sixty_fourths": True}, "6/64 in"),
        (25.8, {"unit": "in", "sixty_fourths": True}, "1 1/64 in"),
        (-25.4, {"unit": "in", "sixty_fourths": True}, "\u22121 in"),
        (-0.01, {"unit": "in", "sixty_fourths": True}, "0 in"),
        (2.4, {"sixty_fourths": True}, "2.40 mm"),
    ],
)
def test_lengths_as_people_read_them(mm, options, text):
    assert format_length(mm, **options) == text


@given(st.floats(-1900, 1900))
def test_a_length_written_is_read_back(mm):
    assert parse_length(format_length(mm)).mm == pytest.approx(mm, abs=0.0051)
    assert parse_length(format_length(mm, "in")).mm == pytest.approx(mm, abs=0.01271)
    nearest = parse_length(format_length(mm, "in", sixty_fourths=True))
    assert nearest.mm == pytest.approx(mm, abs=25.4 / 128 + 1e-9)


@given(st.integers(-200_000, 200_000))
def test_hundredths_of_a_millimetre_survive_both_ways(hundredths):
    typed = f"{hundredths / 100:.2f}"
    written = format_length(parse_length(typed).mm)
    assert parse_length(written).mm == parse_length(typed).mm


def refusal_of(text: str) -> str:
    """What the refusal says, or nothing where the text was understood and kept as typed."""
    try:
        length = parse_length(text)
    except ValueError as refusal:
        return str(refusal)
    assert abs(length.mm) <= 2000.0
    assert length.text == text
    return ""


@given(st.text(max_size=60) | st.text(alphabet="0123456789.,/-+ \"'mine", max_size=40))
def test_any_text_is_either_understood_or_refused_by_name(text):
    said = refusal_of(text)
    assert not said or "; write a number such as" in said
    assert not said or said.isprintable()


@pytest.mark.parametrize(
    ("text", "kind", "default", "value", "unit"),
    [
        ("47", "humidity", None, 47.0, "%"),
        ("47 %", "humidity", None, 47.0, "%"),
        ("47,5% RH", "humidity", None, 47.5, "%"),
        ("21", "temperature", None, 21.0, "C"),
        ("21 °C", "temperature", "F", 21.0, "C"),
        ("21 \u2103", "temperature", None, 21.0, "C"),
        ("70", "temperature", "F", 190 / 9, "F"),
        ("32 F", "temperature", None, 0.0, "F"),
        ("14°F", "temperature", None, -10.0, "F"),
        ("3/4", "turns", None, 0.75, "turn"),
        ("\u00be", "turns", None, 0.75, "turn"),
        ("0.75", "turns", None, 0.75, "turn"),
        ("1 1/8 turns", "turns", None, 1.125, "turn"),
        ("-1/8 turn", "turns", None, -0.125, "turn"),
        ("0.25°", "angle", None, 0.25, "deg"),
        ("1/2 deg", "angle", None, 0.5, "deg"),
    ],
)
def test_other_quantities_as_people_type_them(text, kind, default, value, unit):
    assert parse_quantity(text, kind, default) == Quantity(pytest.approx(value), unit, text)


@pytest.mark.parametrize(
    ("text", "kind", "why"),
    [
        ("105", "humidity", "“105” is outside 0 to 100 %; write a number such as 47"),
        ("1/2", "humidity", "“1/2” is a fraction; write a number such as 47"),
        ("900", "temperature", "is outside \u221220 to 60 °C; write a number such as 21 °C"),
        ("21 K", "temperature", "has a unit that is not known here, k"),
        ("21 C F", "temperature", "names two units"),
        (
            "60 turns",
            "turns",
            "is outside \u221250 to 50 turns; write a number of turns such as 3/8",
        ),
        ("3/0", "turns", "divides by zero"),
        ("91", "angle", "is outside \u221290 to 90 °; write a number of degrees"),
        ("", "angle", "Nothing was typed"),
    ],
)
def test_it_refuses_what_is_not_plainly_one_quantity(text, kind, why):
    with pytest.raises(ValueError, match=re.escape(why)):
        parse_quantity(text, kind)


@pytest.mark.parametrize(
    ("turns", "text"),
    [
        (0.375, "3/8 turn"),
        (1.0, "1 turn"),
        (-1.125, "\u22121 1/8 turns"),
        (0.0625, "1/16 turn"),
        (0.0, "0 turns"),
        (2.0, "2 turns"),
    ],
)
def test_turns_as_people_read_them(turns, text):
    assert format_turns(turns) == text


@given(st.integers(-800, 800))
def test_turns_written_are_read_back(sixteenths):
    turns = sixteenths / 16
    assert parse_quantity(format_turns(turns), "turns").value == turns


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: parse_length(2.4), "A reading must be text, got 2.4"),
        (lambda: parse_length("2.4", "cm"), "default_unit must be 'mm' or 'in', got 'cm'"),
        (lambda: parse_quantity("2", "weight"), "kind must be one of humidity, temperature"),
        (lambda: parse_quantity("2", "turns", "F"), "default_unit of turns cannot be 'F'"),
        (lambda: format_length(float("nan")), "mm must be between -2000 and 2000, got nan"),
        (lambda: format_length(1.0, "cm"), "unit must be 'mm' or 'in', got 'cm'"),
        (lambda: format_turns(float("inf")), "turns must be a finite number, got inf"),
    ],
)
def test_it_refuses_a_callers_mistake(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
