"""The report's sentences: what was found and done, what to expect and when, what comes next."""

from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from geometry.readings import Targets
from measurements.drawings.side_view import Measured
from measurements.models import State, Work
from measurements.reports.words import (
    AGAIN,
    around,
    found_words,
    next_words,
    outlook_words,
    work_sentence,
)
from tests.factories import OutlookFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("early", "likely", "late", "words"),
    [
        (2028, 2031, 2037, "likely around 2031, between 2028 and 2037"),
        (2026, 2031, 2037, "likely around 2031, between now and 2037"),
        (2028, 2031, None, "likely around 2031, between 2028 and some time after 2086"),
        (2031, 2031, 2031, "likely in 2031"),
        (2020, 2025, 2031, "due now, at the latest around 2031"),
        (2020, 2023, 2025, "due now"),
        (None, None, None, "not to be expected within the next 60 years"),
        (2077, None, None, "likely only after 2086, at the earliest around 2077"),
    ],
)
def test_dates_are_said_with_their_range(early, likely, late, words):
    days = [None if year is None else date(year, 6, 1) for year in (early, likely, late)]
    assert around(*days, date(2026, 11, 2)) == words


def test_outlook_says_room_and_when():
    outlook = OutlookFactory.build(
        instrument=None, joint_room_mm=7.0, reset_early=date(2061, 5, 1), reset_likely=None
    )
    assert outlook_words(outlook, "mm")[1:] == [
        "It can rise by another 1.33 mm before the saddle cannot be lowered any further.",
        "The adjustable neck joint can make up for another 7.00 mm.",
        "A neck reset is likely only after 2086, at the earliest around 2061.",
    ]
    outlook.saddle_room_mm = -0.2
    assert "the saddle cannot usefully be lowered any further" in outlook_words(outlook, "mm")[1]


def test_outlook_of_a_fixed_joint_names_the_dates_once():
    outlook = OutlookFactory.build(instrument=None)
    *_, room, reset = outlook_words(outlook, "mm")
    assert "It can rise by another 1.33 mm before" in room
    assert reset == (
        "After that the neck needs a reset: likely around 2036, between 2031 and 2047."
    )
    outlook.saddle_room_mm = -0.2
    assert "A neck reset is likely around 2036, between 2031 and 2047." in outlook_words(
        outlook, "mm"
    )
    outlook.reset_likely = outlook.as_of
    assert "A neck reset is due now, at the latest around 2047." in outlook_words(outlook, "mm")
    outlook.readings = 1
    assert "With so few readings the range is wide" in outlook_words(outlook, "mm")[-1]


@pytest.mark.parametrize(
    ("first_step", "state", "words"),
    [
        ("none", State.ROOM, ["Nothing needs doing now.", AGAIN[State.ROOM]]),
        ("none", State.BOOK, ["The strings stand as they should for now.", AGAIN[State.BOOK]]),
        (
            "relief",
            State.BOOK,
            ["Set the bow of the neck (relief) first, then measure again.", AGAIN[State.BOOK]],
        ),
    ],
)
def test_next_step_never_contradicts_the_outlook(first_step, state, words):
    advice = SimpleNamespace(first_step=first_step)
    assert (
        next_words(advice, None, OutlookFactory.build(instrument=None, state=state), "mm") == words
    )


@pytest.mark.parametrize(
    ("key", "cut_mm", "state", "words"),
    [
        ("saddle", (0.5, 0.4), State.ROOM, "Lower the saddle."),
        ("saddle", (0.5, -0.4), State.ROOM, "Fit a new saddle, taller where it needs to be."),
        ("reset", (0, 0), State.OVERDUE, "Reset the neck"),
    ],
)
def test_next_step_says_what_it_leads_to(key, cut_mm, state, words):
    chosen = SimpleNamespace(
        key=key, saddle_cut_mm=np.array(cut_mm), action_12_after_mm=np.array([2.41, 1.62])
    )
    outlook = OutlookFactory.build(instrument=None, state=state)
    said = next_words(SimpleNamespace(first_step="height"), chosen, outlook, "mm")
    assert said[0].startswith(words)
    assert "2.41 mm on the bass side and 1.62 mm on the treble side at the 12th fret" in said[1]
    assert AGAIN[State.OVERDUE] not in said  # resetting it now is what is said already


def test_work_not_measured_since_asks_to_be_measured():
    outlook = OutlookFactory.build(instrument=None)
    said = next_words(SimpleNamespace(first_step="none"), None, outlook, "mm", unmeasured=True)
    assert said == [
        "Work was done after the last measurements: the instrument is to be measured again."
    ]


def test_readings_that_do_not_fit_are_said_to_be_taken_again():
    outlook = OutlookFactory.build(instrument=None, remeasure=True)
    assert "are to be taken again" in outlook_words(outlook, "mm")[-1]


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        (
            {"kind": "joint", "turns": 0.75, "tilt_from_deg": 0.0, "tilt_to_deg": 0.61},
            "Neck angle set back, which lowers the strings: 3/4 turn of the adjuster.",
        ),
        (
            {"kind": "joint", "tilt_from_deg": 0.5, "tilt_to_deg": 0.2, "shim_to_mm": 0.5},
            "Neck angle set forward, which raises the strings: shim to 0.50 mm.",
        ),
        ({"kind": "relief", "relief_from_mm": 0.4, "relief_to_mm": 0.2},
         "Bow of the neck (relief) set: 0.40 mm → 0.20 mm."),
        ({"kind": "saddle", "saddle_bass_from_mm": 2.0, "saddle_bass_to_mm": 3.0},
         "Saddle raised: bass 2.00 mm → 3.00 mm."),
        ({"kind": "reset"}, "Neck reset: the neck was set at a new angle."),
        ({"kind": "other", "notes": "New strings"}, "New strings"),
    ],
)  # fmt: skip
def test_work_is_said_in_plain_words(facts, words):
    assert work_sentence(Work(**facts), "mm") == words


def test_every_state_says_when_to_come_again():
    assert set(AGAIN) == {"overdue", "book", "watch", "room", "unknown"}


def test_relief_and_a_low_saddle_are_named():
    targets = Targets(action_12_mm=(2.4, 1.6), saddle_floor_mm=1.6, relief_window_mm=(0.1, 0.3))
    words = found_words(Measured(1.0, 0.4, (1.7, 1.55)), targets, "mm", later=False)
    assert words == ["The saddle was as low as it may be.", "The neck had too much bow."]
    low = found_words(Measured(1.0, 0.2, (1.6, 0.8)), targets, "mm", later=False)
    assert low == ["The saddle was lower than it should be."]
    assert found_words(Measured(1.0, 0.4, (1.6, 1.5)), targets, "mm", later=True) == []
