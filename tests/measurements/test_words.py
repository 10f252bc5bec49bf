"""The sentences: dates with their ranges, turns of the hand, work, options."""

from datetime import date

import pytest

from measurements.models import Work, WorkKind
from measurements.words import change_words, turn_words, when_words, work_words

TODAY = date(2026, 6, 1)


@pytest.mark.parametrize(
    ("dates", "words"),
    [
        ((date(2030, 1, 1), date(2034, 1, 1), date(2041, 1, 1)), "2034 (2030 to 2041)"),
        (
            (date(2026, 9, 1), date(2027, 3, 1), date(2031, 1, 1)),
            "March 2027 (September 2026 to 2031)",
        ),
        ((date(2020, 1, 1), date(2031, 1, 1), None), "2031 (now to more than 60 years)"),
        ((date(2020, 1, 1), date(2022, 1, 1), date(2024, 1, 1)), "now"),
        ((date(2020, 1, 1), date(2022, 1, 1), date(2031, 1, 1)), "now, at the latest 2031"),
        ((date(2050, 1, 1), None, None), "likely after 2086, at the earliest 2050"),
        ((None, None, None), "not within 60 years"),
    ],
)
def test_dates(dates, words):
    assert when_words(dates, TODAY) == words


@pytest.mark.parametrize(
    ("turns", "way", "words"),
    [
        (0.75, "clockwise", "3/4 turn clockwise"),
        (-0.125, "clockwise", "1/8 turn anticlockwise"),
        (1.125, "anticlockwise", "1 1/8 turns anticlockwise"),
    ],
)
def test_turns(turns, way, words):
    assert turn_words(turns, way) == words


@pytest.mark.parametrize(
    ("work", "words"),
    [
        (
            Work(kind=WorkKind.JOINT, turns=0.75, tilt_from_deg=0.0, tilt_to_deg=0.614),
            "Adjuster 3/4 turn to lower the action, tilt 0.00° → 0.61°",
        ),
        (
            Work(kind=WorkKind.JOINT, turns=-0.5, tilt_from_deg=0.41, tilt_to_deg=-0.0),
            "Adjuster 1/2 turn to raise the action, tilt 0.41° → 0.00°",
        ),
        (
            Work(
                kind=WorkKind.JOINT,
                shim_from_mm=0,
                shim_to_mm=0.94,
                tilt_from_deg=0,
                tilt_to_deg=0.598,
            ),
            "Shim 0.00 mm → 0.94 mm, tilt 0.00° → 0.60°",
        ),
        (
            Work(
                kind=WorkKind.SADDLE,
                saddle_bass_from_mm=3,
                saddle_bass_to_mm=2.6,
                saddle_treble_to_mm=2,
            ),
            "Saddle: bass 3.00 mm → 2.60 mm, treble to 2.00 mm",
        ),
        (
            Work(kind=WorkKind.RELIEF, relief_from_mm=0.4, relief_to_mm=0.2),
            "Relief 0.40 mm → 0.20 mm",
        ),
        (Work(kind=WorkKind.NUT, nut_bass_to_mm=0.5), "Nut, action at 1: bass to 0.50 mm"),
        (Work(kind=WorkKind.RESET, wedge_mm=0.95), "Neck reset, wedge 0.95 mm"),
        (Work(kind=WorkKind.RESET), "Neck reset"),
        (Work(kind=WorkKind.OTHER, notes="brace reglued"), "brace reglued"),
    ],
)
def test_work(work, words):
    assert work_words(work) == words


def test_a_change_in_inches():
    assert change_words(3.175, 2.54, "in") == "0.125 in → 0.100 in"
