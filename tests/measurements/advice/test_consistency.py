"""Board, page, report, PDF, feed and export say the same of the same instrument."""

import csv
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from html import unescape
from io import StringIO

import pytest
import time_machine
from django.core.management import call_command
from django.test import Client
from icalendar import Calendar

from geometry.units import format_length
from instruments.models import Instrument
from measurements.models import State
from measurements.plan.feed import TOLD, new_feed
from measurements.reports.content import issue
from measurements.reports.paper import pdf
from measurements.reports.words import outlook_words
from shop.models import User
from tests.conftest import signed_in
from tests.measurements.reports.test_content import text_of

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
HORIZON = str(NOW.year + 60)


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def shop(db) -> list[Instrument]:
    """The demo shop's: of every joint, strings and state the first."""
    call_command("load_demo", stdout=StringIO())
    call_command("recompute_outlooks", verbosity=0)
    chosen: dict[tuple[str, ...], Instrument] = {}
    for instrument in Instrument.objects.select_related("joint", "outlook", "customer"):
        if instrument.outlook.state != State.UNKNOWN:
            chosen.setdefault((instrument.joint.kind, instrument.strings), instrument)
            chosen.setdefault((instrument.outlook.state,), instrument)
    assert len({key for key in chosen if len(key) == 1}) == 4  # every state but "unknown"
    assert {"glued", "bolted", "shimmed", "tilting"} <= {key[0] for key in chosen}
    return list({instrument.pk: instrument for instrument in chosen.values()}.values())


@pytest.fixture
def desk(shop) -> Client:
    """The owner's, who reads in mm."""
    owner = User.objects.get(username="owner")
    owner.unit = "mm"
    owner.save()
    return signed_in(owner)


def plain(html: str) -> str:
    text = unescape(re.sub(r"<[^>]+>", " ", re.sub(r"(?s)<svg.*?</svg>", " ", html)))
    return " ".join(text.replace("\xa0", " ").split())


def row_of(board: str, tag: str) -> str:
    (row,) = [
        row for row in re.findall(r"(?s)<tr>.*?</tr>", board) if f"/instruments/{tag}/" in row
    ]
    return row


def dates_in(words: str) -> list[str]:
    """Years of a range as it is said, likely first; a date that has come is "now"."""
    words = words.replace("more than 60 years", HORIZON)
    return re.findall(r"\b(?:\d{4}|now)\b", words)


def same_dates(one: str, other: str) -> bool:
    first, second = dates_in(one), dates_in(other)
    if "now" in (first[:1] + second[:1]):
        return first[:1] == second[:1]
    return set(first) == set(second)


def test_dates_are_told_apart():
    assert same_dates("2031 (2028 to 2037)", "likely around 2031, between 2028 and 2037")
    assert same_dates("May 2028 (now to 2030)", "likely around 2028, between now and 2030")
    assert same_dates("2058 (2041 to more than 60 years)", "around 2058, between 2041 and 2086")
    assert same_dates("now, at the latest 2029", "due now")
    assert not same_dates("2031 (2028 to 2037)", "likely around 2031, between 2028 and 2038")
    assert not same_dates("2031 (now to 2037)", "due now")


def figure_after(name: str, page: str) -> str:
    """What stands beside a name in the page's list of figures."""
    (found,) = re.findall(rf"(?s)<dt>{name}</dt><dd[^>]*>(.*?)</dd>", page)
    return plain(found)


def reset_sentence(content) -> str:
    """The report's sentence of the reset."""
    (sentence,) = [words for words in content["outlook"] if "reset" in words]
    return sentence


def disagreements(
    instrument: Instrument, desk: Client, board: str, feed: dict[str, str], exported: dict[str, str]
) -> Iterator[str]:
    tag, outlook = instrument.tag, instrument.outlook
    row, page = row_of(board, tag), desk.get(f"/instruments/{tag}/").content.decode()
    report = issue(instrument, User.objects.get(username="owner"))
    content, unit = report.content, report.content["unit"]
    paper = text_of(pdf(report))[1]
    state, room = outlook.get_state_display(), outlook.saddle_room_mm
    said = {
        "state on the board": state in plain(row),
        "state on the page": state in figure_after("State", page),
        "state in the report": content["state_words"] == state,
        "state on paper": state.capitalize() in paper,
        "state in the export": exported["state"] == state,
        "room on the board": format_length(room) in plain(row),
        "room on the page": figure_after("Saddle room", page) == format_length(room),
        "room in the export": format_length(float(exported["saddle_room_mm"]))
        == format_length(room),
        "reset in the export": exported["reset_likely"] == str(outlook.reset_likely or ""),
        "report and stored outlook": content["outlook"] == outlook_words(outlook, unit),
        "paper and report": " ".join(content["outlook"]) in paper,
    }
    if room > 0:
        lead = f"It can rise by another {format_length(room, unit)} before the saddle"
        said["room in the report"] = lead in " ".join(content["outlook"])
    on_page = figure_after("Reset due", page)
    said["dates on the board"] = on_page in plain(row)
    said["dates in the report"] = same_dates(on_page, reset_sentence(content))
    said["dates at a glance"] = same_dates(on_page, dict(content["glance"])["Neck reset"])
    told = outlook.state in TOLD and outlook.reset_likely is not None
    said["told by the feed"] = (tag in feed) == told
    if told and tag in feed:
        said["state and dates in the feed"] = feed[tag].startswith(
            f"{state.capitalize()}: {on_page}."
        )
    yield from (f"{tag}, {instrument.joint.kind}: {what}" for what, so in said.items() if not so)


def test_nobody_is_told_anything_else(shop, desk):
    board = desk.get("/due/").content.decode()
    answer = Client().get(f"/feed/{new_feed(User.objects.get(username='owner'))}.ics")
    feed = {
        str(event["SUMMARY"]).split(":")[0]: str(event["DESCRIPTION"])
        for event in Calendar.from_ical(answer.content).walk("VEVENT")
        if "DESCRIPTION" in event
    }
    out = StringIO()
    call_command("export_outlooks", stdout=out)
    exported = {row["tag"]: row for row in csv.DictReader(StringIO(out.getvalue()))}
    wrong = [
        words
        for instrument in shop
        for words in disagreements(instrument, desk, board, feed, exported[instrument.tag])
    ]
    assert wrong == []


def test_it_would_be_noticed(shop, desk):
    """An outlook changed behind the report's back is found out."""
    instrument = next(one for one in shop if one.outlook.saddle_room_mm > 0)
    board = desk.get("/due/").content.decode()
    outlook = instrument.outlook
    outlook.saddle_room_mm += 0.5
    exported = {"state": "watch", "saddle_room_mm": "0.1", "reset_likely": "2099-01-01"}
    found = " ".join(disagreements(instrument, desk, board, {}, exported))
    assert "room on the page" in found
    assert "report and stored outlook" in found
    assert "reset in the export" in found
