"""Stored conclusions: rooms and dates from the facts, the word for them, and the command."""

from datetime import UTC, date, datetime, timedelta
from io import StringIO

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from measurements.forecast.load import chance_days
from measurements.forecast.outlooks import compute, state_of
from measurements.forecast.refreshing import refresh
from measurements.models import CHANCES, Outlook, State
from shop.models import ShopProfile
from tests.factories import CheckInFactory, InstrumentFactory

pytestmark = pytest.mark.django_db
TODAY = date(2024, 6, 1)


def readings_over_years(instrument, start=2004, rises=(0.2, 0.5, 0.75, 0.95), **more):
    for place, rise in enumerate(rises):
        CheckInFactory(
            instrument=instrument,
            measured_at=datetime(start + 5 * place, 3, 1, 12, tzinfo=UTC),
            bridge_rise_mm=rise,
            **more,
        )


def test_saddle_room_is_the_rise_limit_less_the_rise():
    # geometry.md §2, worked: b 0.4, s 3.0, a1 0.50, r 0.20, target 2.3, floor 1.6 give limit 1.7260
    instrument = InstrumentFactory(target_12_bass_mm=2.3, target_12_treble_mm=2.3)
    actions = {(1, "bass"): 0.5, (1, "treble"): 0.5}
    CheckInFactory(instrument=instrument, saddle_treble_mm=3.0, actions_mm=actions)
    outlook = compute([instrument.pk], TODAY)[0]
    assert outlook.rise_limit_mm == pytest.approx(1.7260, abs=1e-4)
    assert outlook.saddle_room_mm == pytest.approx(1.3260, abs=1e-4)
    assert outlook.joint_room_mm == 0.0


def test_a_tilting_joint_has_room_of_its_own_and_a_later_reset():
    glued, tilting = InstrumentFactory(), InstrumentFactory(joint__tilting=True)
    for instrument in (glued, tilting):
        readings_over_years(instrument)
    without, with_room = compute([glued.pk, tilting.pk], TODAY)
    # 2° at 290 mm to the saddle lower the bridge by about 10.1 mm: 289.9·sin 2°
    assert with_room.joint_room_mm == pytest.approx(289.9 * np.sin(np.radians(2)), abs=0.02)
    assert with_room.saddle_spent_likely == without.saddle_spent_likely
    assert without.reset_likely == without.saddle_spent_likely
    assert with_room.reset_likely is None or with_room.reset_likely > without.reset_likely


def test_dates_are_in_order_and_within_the_horizon():
    instrument = InstrumentFactory(built_year=2000)
    readings_over_years(instrument)
    outlook = compute([instrument.pk], TODAY)[0]
    dates = [outlook.reset_early, outlook.reset_likely, outlook.reset_late]
    known = [day for day in dates if day is not None]
    assert known == sorted(known)
    assert known[0] is not None
    assert all(day <= TODAY + timedelta(days=61 * 366) for day in known)


def test_without_readings_nothing_is_claimed():
    outlook = compute([InstrumentFactory().pk], TODAY)[0]
    assert outlook.state == State.UNKNOWN
    assert outlook.readings == 0
    assert outlook.saddle_room_mm is None
    assert outlook.reset_likely is None


def test_only_a_bridge_rise_is_enough_and_says_what_was_assumed():
    instrument = InstrumentFactory()
    CheckInFactory(
        instrument=instrument, bridge_rise_mm=0.4, relief_mm=None, saddle_bass_mm=None,
        saddle_treble_mm=None, actions_mm={},
    )  # fmt: skip
    outlook = compute([instrument.pk], TODAY)[0]
    assert outlook.saddle_room_mm is not None
    assert outlook.basis["assumed"] == ["action at fret 1", "saddle height", "relief"]


def test_a_jump_is_flagged_to_be_measured_again():
    instrument = InstrumentFactory(built_year=1990)
    readings_over_years(instrument, 2001, (0.30, 0.38, 0.44, 0.50))
    CheckInFactory(
        instrument=instrument, measured_at=datetime(2023, 1, 1, tzinfo=UTC), bridge_rise_mm=2.6
    )
    assert compute([instrument.pk], TODAY)[0].remeasure
    assert not compute([instrument.pk], date(2022, 6, 1))[0].remeasure


def test_contradicting_readings_are_flagged_too():
    instrument = InstrumentFactory()
    slip = {(1, "bass"): 0.5, (1, "treble"): 0.35, (12, "bass"): 0.24, (12, "treble"): 1.88}
    CheckInFactory(instrument=instrument, actions_mm=slip)
    assert compute([instrument.pk], TODAY)[0].remeasure
    CheckInFactory(instrument=instrument)
    assert not compute([instrument.pk], TODAY)[0].remeasure


@pytest.mark.parametrize(
    ("years", "room", "state"),
    [
        ((-2, -1, 1), 0.5, State.OVERDUE),
        ((-2, 1, 15), -0.1, State.BOOK),
        ((8, 15, 30), -0.1, State.WATCH),
        ((1, 1.5, 4), 0.5, State.BOOK),
        ((4, 8, 12), 0.5, State.WATCH),
        ((8, 15, 30), 0.5, State.ROOM),
        ((8, np.nan, np.nan), 0.5, State.ROOM),
        ((4, np.nan, np.nan), 0.5, State.WATCH),
        ((np.nan, np.nan, np.nan), 0.5, State.ROOM),
    ],
)
def test_the_word_follows_the_dates(years, room, state):
    days = 20_000 + np.array(years) * 365.2425
    assert state_of(days, 20_000, ShopProfile(), known=True, room_mm=room) == state


def test_it_is_the_same_one_by_one_and_together():
    instruments = InstrumentFactory.create_batch(3)
    for place, instrument in enumerate(instruments):
        readings_over_years(instrument, rises=(0.1, 0.2 + 0.1 * place, 0.5))
    together = compute([i.pk for i in instruments], TODAY)
    for instrument, outlook in zip(instruments, together, strict=True):
        alone = compute([instrument.pk], TODAY)[0]
        assert alone.fingerprint == outlook.fingerprint
        assert alone.reset_likely == outlook.reset_likely


def test_recomputing_replaces_and_the_fingerprint_follows_the_facts():
    instrument = InstrumentFactory()
    readings_over_years(instrument)
    assert refresh() == 1
    first = Outlook.objects.get()
    refresh()
    assert Outlook.objects.get().fingerprint == first.fingerprint
    CheckInFactory(instrument=instrument, measured_at=datetime(2023, 1, 1, tzinfo=UTC))
    refresh()
    assert Outlook.objects.get().fingerprint != first.fingerprint


def test_the_command_recomputes_all_with_a_progress_bar():
    for instrument in InstrumentFactory.create_batch(2):
        readings_over_years(instrument)
    out, err = StringIO(), StringIO()
    call_command("recompute_outlooks", stdout=out, stderr=err)
    assert "2 outlooks recomputed." in out.getvalue()
    assert "outlooks [##############################] 2 of 2" in err.getvalue()
    assert "Too few instruments to learn from" in out.getvalue()
    assert Outlook.objects.count() == 2


def test_the_command_takes_tags_and_names_an_unknown_one():
    instrument = InstrumentFactory(tag="KNOWN")
    out = StringIO()
    call_command("recompute_outlooks", "KNOWN", stdout=out, stderr=StringIO())
    assert Outlook.objects.get().instrument == instrument
    with pytest.raises(CommandError, match="No instrument has the tag OTHER"):
        call_command("recompute_outlooks", "OTHER")


def test_one_impossible_instrument_does_not_stop_the_fleet(monkeypatch):
    from measurements.forecast import outlooks

    bad, *good = InstrumentFactory.create_batch(5)
    for instrument in (bad, *good):
        readings_over_years(instrument)
    gather = outlooks.gather

    def choking(ids, *rest):
        if bad.pk in ids:
            raise ValueError("fretboard_radius_mm must exceed the spread")
        return gather(ids, *rest)

    monkeypatch.setattr(outlooks, "gather", choking)
    assert refresh() == 5
    assert list(Outlook.objects.filter(out_of_date=True)) == [Outlook.objects.get(instrument=bad)]
    assert Outlook.objects.get(instrument=bad).state == State.UNKNOWN
    assert Outlook.objects.filter(saddle_room_mm__isnull=False).count() == 4


class TestResetChances:
    """The chance of a reset by each quarter's end is the same forecast as its dates."""

    def test_they_rise_and_agree_with_the_dates(self):
        instrument = InstrumentFactory(built_year=1990)
        for year, rise in ((2018, 0.2), (2021, 0.3), (2024, 0.4), (2026, 0.45)):
            CheckInFactory(
                instrument=instrument,
                measured_at=datetime(year, 5, 1, 12, tzinfo=UTC),
                bridge_rise_mm=rise,
            )
        for day in (date(2026, 6, 1), date(2029, 6, 1), date(2035, 6, 1), date(2050, 6, 1)):
            (outlook,) = compute([instrument.pk], day)
            chances = [getattr(outlook, name) for name in CHANCES]
            assert chances == sorted(chances)
            assert 0.0 <= chances[0] <= chances[-1] <= 1.0
            for mark, share in (("early", 0.1), ("likely", 0.5), ("late", 0.9)):
                reached = getattr(outlook, f"reset_{mark}")
                for by, chance in zip(chance_days(day), chances, strict=True):
                    if reached is not None and abs((by - reached).days) > 2:
                        assert (chance > share) == (by > reached)

    def test_without_readings_there_are_none(self):
        (outlook,) = compute([InstrumentFactory().pk], date(2026, 6, 1))
        assert outlook.reset_by_0 is None
