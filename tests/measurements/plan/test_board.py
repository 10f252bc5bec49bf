"""The owner's board and the bench's day."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from measurements.models import Stage, State
from measurements.plan import board_views
from measurements.plan.board import SORTS
from measurements.work.visit import AFTER_WORK
from tests.factories import (
    CheckInFactory,
    ContactFactory,
    InstrumentFactory,
    OutlookFactory,
    UserFactory,
    WorkFactory,
)

pytestmark = pytest.mark.django_db


def test_people_start_where_their_work_is(at_desk, at_bench):
    assert at_desk.get(reverse("home"))["Location"] == reverse("due")
    assert at_bench.get(reverse("home"))["Location"] == reverse("today")


def tags(response) -> list[str]:
    return [instrument.tag for instrument in response.context["page"]]


def test_the_soonest_likely_reset_comes_first(at_desk):
    none = {"reset_likely": None, "reset_late": None}
    OutlookFactory(instrument__tag="LATER", reset_likely=date(2040, 1, 1))
    OutlookFactory(instrument__tag="NEVER", reset_early=None, state=State.ROOM, **none)
    OutlookFactory(instrument__tag="SOON", reset_likely=date(2027, 1, 1), state=State.BOOK)
    OutlookFactory(instrument__tag="PERHAPS", reset_early=date(2050, 1, 1), **none)
    OutlookFactory(instrument__tag="UNKNOWN", reset_early=None, state=State.UNKNOWN, **none)
    response = at_desk.get(reverse("due"))
    assert tags(response) == ["SOON", "LATER", "PERHAPS", "NEVER", "UNKNOWN"]
    page = response.content.decode()
    assert "book a reset" in page
    assert "January 2027" in page


def test_it_filters_by_state_and_ignores_nonsense(at_desk):
    OutlookFactory(instrument__tag="W", state=State.WATCH)
    OutlookFactory(instrument__tag="B", state=State.BOOK)
    assert tags(at_desk.get(reverse("due"), {"state": "watch"})) == ["W"]
    assert len(tags(at_desk.get(reverse("due"), {"state": "<script>"}))) == 2


def test_an_instrument_never_measured_stands_on_the_board_too(at_desk):
    InstrumentFactory(tag="NEW")
    OutlookFactory(instrument__tag="OLD", state=State.WATCH)
    assert tags(at_desk.get(reverse("due"))) == ["OLD", "NEW"]
    assert tags(at_desk.get(reverse("due"), {"state": "unknown"})) == ["NEW"]


@pytest.mark.parametrize(
    ("asked", "shown"),
    [
        ({"q": "garrow"}, ["A"]),
        ({"q": "mar gar"}, ["A"]),
        ({"q": "no such person"}, []),
        ({"joint": "tilting"}, ["B"]),
        ({"joint": "' OR 1=1"}, ["A", "B", "C"]),
        ({"unseen": "1"}, ["B", "C"]),
        ({"bench": "1"}, ["A"]),
        ({"bench": "1", "joint": "tilting"}, []),
        ({"sort": "tag"}, ["A", "B", "C"]),
        ({"sort": "-tag"}, ["C", "B", "A"]),
        ({"sort": "saddle"}, ["B", "A", "C"]),
        ({"sort": "-saddle"}, ["A", "B", "C"]),
        ({"sort": "-seen"}, ["A", "B", "C"]),
        ({"sort": "contact"}, ["B", "A", "C"]),
        ({"sort": "password"}, ["A", "B", "C"]),
    ],
)
def test_it_shows_what_was_asked_for(at_desk, asked, shown):
    now = timezone.now()
    a = OutlookFactory(
        instrument__tag="A", instrument__customer__name="Mara Garrow", last_measured_at=now,
        reset_likely=date(2030, 1, 1), saddle_room_mm=0.8,
    )  # fmt: skip
    CheckInFactory(instrument=a.instrument, measured_at=now)
    b = OutlookFactory(
        instrument__tag="B", instrument__joint__tilting=True,
        last_measured_at=now - timedelta(days=400), saddle_room_mm=0.2,
    )  # fmt: skip
    InstrumentFactory(tag="C")
    ContactFactory(instrument=b.instrument)
    ContactFactory(instrument=b.instrument, occasion="again", failed="refused")
    assert tags(at_desk.get(reverse("due"), asked)) == shown


def test_typing_swaps_the_board_alone(at_desk):
    OutlookFactory()
    whole = at_desk.get(reverse("due"))
    part = at_desk.get(reverse("due"), headers={"HX-Request": "true", "HX-Target": "board"})
    assert "<html" in whole.content.decode()
    assert part.content.decode().strip().startswith('<div id="board">')


def test_a_link_to_sort_keeps_the_filters(at_desk):
    OutlookFactory(state=State.WATCH)
    page = at_desk.get(reverse("due"), {"state": "watch", "q": "", "page": "1"}).content.decode()
    assert "?state=watch&amp;q=&amp;sort=saddle" in page


def test_an_empty_shop_is_told_how_to_begin(at_desk):
    assert "Add an instrument" in at_desk.get(reverse("due")).content.decode()


@pytest.mark.parametrize("address", ["due", "today", "instruments", "customers"])
def test_the_number_of_queries_does_not_grow(at_desk, address, django_assert_max_num_queries):
    for _ in range(8):
        outlook = OutlookFactory()
        CheckInFactory(instrument=outlook.instrument, measured_at=timezone.now())
    with django_assert_max_num_queries(12):
        at_desk.get(reverse(address))


def test_pages_of_the_board_hold_every_instrument_once_in_order(at_desk, monkeypatch):
    monkeypatch.setattr(board_views, "LINES", 2)
    for number, day in enumerate((None, date(2030, 1, 1), None, date(2029, 1, 1), None)):
        OutlookFactory(instrument__tag=f"P{number}", reset_likely=day, reset_early=None)
    pages = [at_desk.get(reverse("due"), {"page": number}) for number in (1, 2, 3, 99)]
    assert [tags(page) for page in pages] == [["P3", "P1"], ["P0", "P2"], ["P4"], ["P4"]]
    assert pages[0].context["page"].paginator.num_pages == 3


def test_states_are_counted_among_what_was_asked_for(at_desk):
    OutlookFactory(instrument__tag="W", state=State.WATCH)
    OutlookFactory(instrument__tag="B", state=State.BOOK, instrument__maker="Hollin")
    InstrumentFactory(tag="NEW", maker="Hollin")
    OutlookFactory(instrument__tag="U", state=State.UNKNOWN)

    def counted(**asked: str) -> dict[str, int]:
        states = at_desk.get(reverse("due"), asked).context["states"]
        return {value: count for value, _, count in states if count}

    assert counted() == {"watch": 1, "book": 1, "unknown": 2}
    assert counted(state="watch") == {"watch": 1, "book": 1, "unknown": 2}
    assert counted(q="hollin") == {"book": 1, "unknown": 1}


@pytest.mark.parametrize("sort", [*SORTS, *(f"-{key}" for key in SORTS)])
def test_every_order_shows_when_each_owner_was_told(at_desk, sort):
    told = ContactFactory(instrument=OutlookFactory().instrument)
    OutlookFactory()
    page = at_desk.get(reverse("due"), {"sort": sort}).context["page"]
    assert {line.told_at for line in page} == {told.made_at, None}


class TestToday:
    def test_what_was_received_waits_until_it_is_returned(self, at_bench):
        waits, back, long_ago = (InstrumentFactory(tag=tag) for tag in ("WAITS", "BACK", "LONGAGO"))
        now = timezone.now()
        CheckInFactory(instrument=waits, measured_at=now - timedelta(hours=1))
        CheckInFactory(instrument=back, measured_at=now - timedelta(hours=2))
        CheckInFactory(instrument=back, measured_at=now - timedelta(hours=1), stage=Stage.RETURNED)
        CheckInFactory(instrument=long_ago, measured_at=now - timedelta(days=200))
        waiting = at_bench.get(reverse("today")).context["waiting"]
        assert [instrument.tag for instrument in waiting] == ["WAITS"]

    def test_after_work_the_next_step_is_to_measure_as_returned(self, at_bench):
        instrument = InstrumentFactory()
        CheckInFactory(instrument=instrument, measured_at=timezone.now() - timedelta(hours=2))
        assert "measure as returned" not in at_bench.get(reverse("today")).content.decode()
        WorkFactory(instrument=instrument, done_at=timezone.now() - timedelta(hours=1))
        assert "measure as returned" in at_bench.get(reverse("today")).content.decode()

    def test_a_reading_between_two_steps_leaves_it_waiting_since_it_came(self, at_bench):
        instrument = InstrumentFactory(tag="TURNING")
        came = timezone.now() - timedelta(hours=2)
        CheckInFactory(instrument=instrument, measured_at=came)
        CheckInFactory(
            instrument=instrument, measured_at=timezone.now(), stage=Stage.RETURNED,
            as_typed={AFTER_WORK: "a piece of work"},
        )  # fmt: skip
        (waits,) = at_bench.get(reverse("today")).context["waiting"]
        assert (waits.tag, waits.received_at) == ("TURNING", came)

    def test_voided_check_ins_do_not_count(self, at_bench):
        CheckInFactory(
            measured_at=timezone.now(), voided_at=timezone.now(), voided_by=UserFactory(),
            void_reason="typing slip",
        )  # fmt: skip
        response = at_bench.get(reverse("today"))
        assert list(response.context["waiting"]) == []
        assert list(response.context["check_ins"]) == []
