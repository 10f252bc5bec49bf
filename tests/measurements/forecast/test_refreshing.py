"""A fleet's outlooks recomputed by several machines at once: each once, none left out."""

import threading
from collections.abc import Callable
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.utils import timezone

from instruments.models import Instrument
from measurements.facts.rows import lock
from measurements.forecast import refreshing
from measurements.forecast.refreshing import learn_from_fleet, refresh, refresh_after
from measurements.models import Outlook, ShopPrior
from tests.factories import CheckInFactory, InstrumentFactory, ShopProfileFactory


def fleet(count: int) -> list[Instrument]:
    made = InstrumentFactory.create_batch(count)
    for instrument in made:
        CheckInFactory(instrument=instrument)
    return made


@pytest.fixture
def small_chunks(monkeypatch) -> None:
    monkeypatch.setattr(refreshing, "CHUNK", 3)


@pytest.mark.django_db
class TestWhatAnotherComputed:
    def test_since_the_start_is_left_out(self):
        made = fleet(4)
        began = timezone.now()
        refresh([made[0].pk, made[1].pk])
        assert refresh(since=began) == 2
        assert refresh(since=began) == 0

    def test_before_the_start_is_made_anew(self):
        fleet(2)
        assert refresh() == 2
        assert refresh() == 2

    @pytest.mark.parametrize(
        "change",
        [{"out_of_date": True}, {"model_version": "0"}, {"as_of": "2020-01-01"}],
    )
    def test_and_is_no_longer_right_is_made_anew(self, change):
        fleet(2)
        began = timezone.now()
        refresh()
        Outlook.objects.filter(pk=Outlook.objects.first().pk).update(**change)
        assert refresh(since=began) == 1

    def test_before_a_setting_changed_is_made_anew(self, monkeypatch):
        """An outlook that was being computed while the settings were saved does not count as newer."""
        (made,) = fleet(1)
        profile = ShopProfileFactory()
        compute = refreshing.compute
        saved = []

        def slowly(*arguments):
            outlooks = compute(*arguments)
            type(profile).objects.update(book_within_years=3)
            saved.append(timezone.now())
            return outlooks

        monkeypatch.setattr(refreshing, "compute", slowly)
        refresh([made.pk])
        monkeypatch.undo()
        assert refresh(since=saved[0]) == 1

    def test_by_hand_is_computed_whatever_another_did(self):
        (made,) = fleet(1)
        refresh()
        assert refresh([made.pk]) == 1
        assert refresh_after(made)


@pytest.mark.django_db
def test_once_a_day_is_once_whichever_machine_asks():
    fleet(13)
    out = StringIO()
    for _ in range(2):
        call_command("recompute_outlooks", "--once-a-day", stdout=out, stderr=StringIO())
    assert "13 outlooks recomputed." in out.getvalue()
    assert "0 outlooks recomputed." in out.getvalue()
    ShopPrior.objects.update(learnt_at=timezone.now() - timedelta(days=1))
    before = ShopPrior.objects.get().learnt_at
    call_command("recompute_outlooks", "--once-a-day", stdout=out, stderr=StringIO())
    assert ShopPrior.objects.get().learnt_at > before
    assert out.getvalue().count("13 outlooks recomputed.") == 2


@pytest.mark.django_db
def test_what_was_learnt_meanwhile_is_taken(monkeypatch):
    fleet(13)
    began = timezone.now()
    first = learn_from_fleet()
    monkeypatch.setattr(refreshing, "learn", lambda *_: pytest.fail("learnt twice"))
    assert learn_from_fleet(unless_since=began).learnt_at == first.learnt_at


@pytest.mark.django_db
def test_of_two_who_learn_at_once_the_first_gives_it_to_both(monkeypatch):
    fleet(13)
    began = timezone.now()
    others = []

    def meanwhile(count: int, total: int) -> None:
        if not others:
            others.append(None)  # once
            others[0] = learn_from_fleet(unless_since=began)

    ours = learn_from_fleet(unless_since=began, progress=meanwhile)
    assert ours.learnt_at == others[0].learnt_at == ShopPrior.objects.get().learnt_at
    assert learn_from_fleet().learnt_at > ours.learnt_at


def at_once(*acts: Callable[[], int]) -> list[int]:
    """Run acts in threads of their own, each with a connection of its own; what each returned."""
    results: list[int] = [-1] * len(acts)

    def run(place: int, act: Callable[[], int]) -> None:
        try:
            results[place] = act()
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=item) for item in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return results


@pytest.mark.django_db(transaction=True)
class TestAtOnce:
    @pytest.fixture(autouse=True)
    def _rows_are_locked(self):
        if not connection.features.has_select_for_update_skip_locked:
            pytest.skip("this database locks no single rows; PostgreSQL's run covers it")

    def test_the_work_is_done_once(self, small_chunks):
        fleet(14)
        began = timezone.now()
        made = at_once(*[lambda: refresh(since=began)] * 3)
        assert sum(made) == 14
        assert Outlook.objects.filter(computed_at__gt=began).count() == 14

    def test_a_chunk_that_another_holds_is_passed_by_and_then_waited_for(self, small_chunks):
        made = fleet(6)
        held, seen = threading.Event(), threading.Event()
        order: list[int] = []

        def hold() -> int:
            with transaction.atomic():
                lock([made[0].pk])
                held.set()
                assert seen.wait(30)
            return 0

        def work() -> int:
            assert held.wait(30)

            def progress(passed: int, total: int) -> None:
                order.append(passed)
                seen.set()

            return refresh(progress=progress)

        assert at_once(hold, work) == [0, 6]
        # Of the first chunk two were free, of the second all three; the held one came last.
        assert order == [2, 5, 6]

    def test_a_second_learner_waits_and_takes_what_the_first_learnt(self, monkeypatch):
        fleet(13)
        learn_from_fleet()  # there is a row to wait at
        learn, calls = refreshing.learn, []

        def counted(*arguments):
            calls.append(1)
            return learn(*arguments)

        monkeypatch.setattr(refreshing, "learn", counted)
        began = timezone.now()
        ready = threading.Barrier(2)

        def ask() -> int:
            ready.wait(30)
            return learn_from_fleet(unless_since=began).instruments

        assert at_once(ask, ask) == [13, 13]
        assert len(calls) == 1
