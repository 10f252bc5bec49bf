"""A state and the advice beside it do not read as if they contradicted each other."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime
from html import unescape
from io import StringIO

import pytest
import time_machine
from django.core.management import call_command
from django.urls import reverse

from instruments.models import Instrument
from measurements.advice.counsel import counsel
from measurements.advice.verdicts import head_words, reset_head, state_note
from measurements.models import Outlook, State
from tests.factories import CheckInFactory

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 1)
CARRIED = {"saddle_room_mm": -0.71, "joint_room_mm": 9.18}
ANOTHER_STEP = "The advice is another step than a reset"


def an_outlook(**given) -> Outlook:
    usual = {"state": State.ROOM, "as_of": TODAY, "saddle_room_mm": 0.5, "joint_room_mm": 0.0}
    return Outlook(**usual | given)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, ""),
        ({"state": State.UNKNOWN, "saddle_room_mm": None, "remeasure": True}, ""),
        ({"remeasure": True}, "by all readings so far; the newest are to be taken again"),
        (
            CARRIED | {"saddle_spent_likely": date(2024, 1, 1)},
            "in the joint: the saddle is spent, the joint carries it",
        ),
        (
            CARRIED | {"saddle_spent_likely": date(2033, 1, 1)},
            "in the joint: by the newest reading the saddle has none left",
        ),
        ({"saddle_room_mm": -0.7, "joint_room_mm": 0.0, "state": State.WATCH}, ""),
    ],
)
def test_a_line_beside_the_state(given, words):
    assert state_note(an_outlook(**given)) == words


class TestTheResetSheetsHead:
    """``advice`` with another first step than it has, each as ``geometry.advice`` may give it."""

    OVERDUE = {"state": State.OVERDUE, "reset_likely": date(2025, 3, 29)}

    @pytest.fixture
    def advice(self):
        return counsel(CheckInFactory().instrument).advice

    def head(self, advice, outlook, step="Relief is 0.35 mm.", **given):
        return reset_head(replace(advice, **given), outlook, step)

    @pytest.mark.parametrize(
        ("given", "words"),
        [
            ({"first_step": "relief"}, "this keeps the instrument going: relief is 0.35 mm."),
            ({"first_step": "height", "recommended": "saddle"}, "going: relief is 0.35 mm."),
            ({"first_step": "height", "recommended": "leave"}, "March 2025). Relief is 0.35 mm."),
            ({"first_step": "none"}, "Until it is done the action needs nothing. Relief"),
            ({"first_step": "remeasure"}, "March 2025). Relief is 0.35 mm."),
        ],
    )
    def test_one_that_is_due(self, advice, given, words):
        head = self.head(advice, an_outlook(**self.OVERDUE), **{"recommended": "leave"} | given)
        assert head.startswith("The reset is due (overdue since March 2025).")
        assert words in head

    def test_one_to_be_booked(self, advice):
        dates = dict(zip(("early", "likely", "late"), (2027, 2028, 2033), strict=True))
        found = an_outlook(
            state=State.BOOK, **{f"reset_{m}": date(year, 5, 1) for m, year in dates.items()}
        )
        head = self.head(advice, found, first_step="nut", recommended="leave")
        assert head.startswith("The reset is to be booked: likely May 2028 (May 2027 to 2033).")

    def test_one_that_is_not_due_or_is_the_advice(self, advice):
        given = {"first_step": "relief", "recommended": "leave"}
        assert ANOTHER_STEP in self.head(advice, an_outlook(), **given)
        assert ANOTHER_STEP in self.head(advice, None, **given)
        found = an_outlook(**self.OVERDUE)
        assert self.head(advice, found, first_step="height", recommended="reset") == ""


def plain(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).replace("\xa0", " ").split())


@pytest.fixture
def shop(db):
    with time_machine.travel(datetime(2026, 11, 25, 15, 0, tzinfo=UTC), tick=False):
        call_command("load_demo", stdout=StringIO())
        call_command("recompute_outlooks", verbosity=0)
        yield list(
            Instrument.objects.select_related("joint", "outlook").exclude(
                outlook__state=State.UNKNOWN
            )
        )


def shown(client, name: str, instrument: Instrument) -> str:
    return plain(client.get(reverse(name, kwargs={"tag": instrument.tag})).content.decode())


def test_the_demo_shops_pages_and_board(at_bench, at_desk, shop):
    seen = set()
    for instrument in shop:
        outlook, note = instrument.outlook, state_note(instrument.outlook)
        if not note:
            continue
        seen |= {"again"} if outlook.remeasure else {"joint"}
        state = f"{outlook.get_state_display()} {note}"
        assert state in shown(at_bench, "instrument", instrument), instrument.tag
        board = at_desk.get(reverse("due"), {"q": instrument.tag}).content.decode()
        assert note in plain(board), instrument.tag
    assert seen == {"again", "joint"}


def test_nothing_to_do_is_said_for_what(at_bench, shop):
    """Where the state or the saddle asks for something, "nothing to do" is of the action alone."""
    seen = set()
    for instrument in shop:
        now, outlook = counsel(instrument), instrument.outlook
        if now.advice.first_step != "none":
            continue
        pressing = outlook.state in (State.OVERDUE, State.BOOK)
        low = bool((now.facts.saddle_mm[0] < now.profile.saddle_floor_mm - 0.005).any())
        page = shown(at_bench, "instrument", instrument)
        if pressing or low or outlook.saddle_room_mm <= 0:
            assert "Nothing to do for the action now" in page, instrument.tag
        else:
            assert head_words(now) == "Nothing to do", instrument.tag
        if low:
            adjustable = outlook.joint_room_mm > 0
            assert "The action is on target and needs nothing done;" in page
            assert ("with the neck tilted back" in page) == adjustable, instrument.tag
            seen.add("joint" if adjustable else "reset")
        if pressing:
            seen.add("pressing")
    assert seen == {"joint", "reset", "pressing"}


def test_reset_sheets_agree_with_the_state(at_bench, shop):
    due = [one for one in shop if one.outlook.state in (State.OVERDUE, State.BOOK)]
    heads = set()
    for instrument in due:
        sheet = shown(at_bench, "reset-sheet", instrument)
        assert ANOTHER_STEP not in sheet, instrument.tag
        heads |= set(
            re.findall(r"The reset is (?:due \(overdue since|to be booked: likely)", sheet)
        )
    assert len(heads) == 2
