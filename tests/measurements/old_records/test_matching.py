"""What a heading in a shop's own words is taken to mean. The words are the trade's, common practice."""

import pytest

from measurements.old_records.matching import choices, guess, headings, matched, unit_named
from measurements.old_records.table import Table, TableError

GUESSES = [
    ("tag", "tag"),
    ("Instrument no.", "tag"),
    ("Date", "checked_in_on"),
    ("Checked in", "checked_in_on"),
    ("Owner", "customer"),
    ("Relief (mm)", "relief"),
    ("Relief @ 7th", "relief"),
    ("relief_in", "relief"),
    ("12th E bass", "action_12_bass"),
    ("12th fret low E (in)", "action_12_bass"),
    ("Action 1 treble", "action_1_treble"),
    ("action_36_bass_mm", "action_36_bass"),
    ("Bridge rise", "bridge_rise"),
    ("Saddle height (treble)", "saddle_treble"),
    ("RH %", "humidity_pct"),
    ("Temp °C", "temperature_c"),
    ("Scale length", "scale_length"),
    ("Fretboard radius", "fretboard_radius"),
    ("Remarks", "notes"),
    ("Neck joint", "joint_kind"),
    ("Turns", "turns"),
    ("Price", ""),
    ("action_99_bass", ""),
    ("x" * 5000, ""),
    ("\u202e", ""),
    ("Kennung", "tag"),
    ("Datum", "checked_in_on"),
    ("Kunde", "customer"),
    ("Halskrümmung", "relief"),
    ("Saitenlage 12. Bund Bass", "action_12_bass"),
    ("Saitenlage am 1. Bund, Diskant", "action_1_treble"),
    ("Stegeinlage, Diskantseite", "saddle_treble"),
    ("Steghöhe (mm)", "bridge_rise"),
    ("Luftfeuchte", "humidity_pct"),
    ("Mensur", "scale_length"),
    ("Griffbrettradius", "fretboard_radius"),
    ("Baujahr", "built_year"),
    ("Größte Neigung", "tilt_max_deg"),
    ("Bemerkungen", "notes"),
    ("Preis", ""),
]


@pytest.mark.parametrize(("heading", "key"), GUESSES)
def test_a_heading_is_guessed_by_its_words(heading, key):
    assert guess(heading) == key


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("relief_mm", "mm"),
        ("Relief (in)", "in"),
        ('Rise "', "in"),
        ("scale inches", "in"),
        ("Checked in", None),
        ("In/out", None),
        ("Relief", None),
        ("Comment", None),
    ],
)
def test_a_heading_may_name_its_unit(heading, unit):
    assert unit_named(heading) == unit


def test_no_two_headings_are_guessed_to_be_the_same():
    table = Table(["Tag", "Code", "", "tag"], [["a", "b", "c", "d", ""]], [2])
    found = headings(table)
    assert [(h.place, h.guess) for h in found] == [(0, "tag"), (1, ""), (3, "")]
    assert found[0].samples == ["a"]


def test_every_guess_is_offered():
    table = Table([heading for heading, _ in GUESSES], [], [])
    offered = {choice.key for choice in choices(headings(table))}
    assert {key for _, key in GUESSES if key} <= offered
    assert "action_24_treble" in offered


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("18/3/2015", "day", "2015-03-18"),
        ("3/18/2015", "month", "2015-03-18"),
        ("18.03.2015", "day", "2015-03-18"),
        ("18/3/2015", "month", "18/3/2015"),
        ("18/3/2015", "iso", "18/3/2015"),
        ("2015-03-18T14:30:00", "iso", "2015-03-18"),
        ("2015-03-18", "day", "2015-03-18"),
        ("soon", "day", "soon"),
    ],
)
def test_days_are_read_in_the_order_chosen(text, order, day):
    table = Table(["When", "x"], [[text, "1", ""]], [2])
    assert matched(table, {0: "checked_in_on"}, "mm", order).rows == [[day, ""]]


def test_lengths_take_the_unit_chosen_unless_the_heading_names_one():
    table = Table(["Relief", "Rise mm", "12 bass"], [["1", "2", "3", ""]], [2])
    chosen = {0: "relief", 1: "bridge_rise", 2: "action_12_bass"}
    assert matched(table, chosen, "in").header == [
        "relief_in",
        "bridge_rise_mm",
        "action_12_bass_in",
    ]


def test_what_is_no_column_is_refused():
    with pytest.raises(TableError, match="none of the columns"):
        matched(Table(["a"], [], []), {0: "no_such"}, "mm")
