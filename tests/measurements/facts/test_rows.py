"""Facts read as columns: moments as exact numbers, gaps kept, order, the day's bound, whose they are."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from django.utils import timezone

from measurements.facts.rows import (
    ACTION_FRETS,
    CHECK_IN_COLUMNS,
    _of_readings,
    date_of,
    day_number,
    moment_of,
    read_rows,
)
from measurements.models import WorkKind
from tests.factories import CheckInFactory, InstrumentFactory, UserFactory, WorkFactory

pytestmark = pytest.mark.django_db

AS_OF = date(2024, 6, 1)
MILLISECOND = timedelta(milliseconds=1)


def at(*moment: int) -> datetime:
    return datetime(*moment, tzinfo=UTC)


def rows_of(*instruments, as_of: date = AS_OF):
    return read_rows([instrument.pk for instrument in instruments], as_of)


@pytest.fixture
def instrument():
    return InstrumentFactory()


@pytest.mark.parametrize(
    ("moment", "seconds"),
    [
        # POSIX.1-2017, base definitions §4.16, "Seconds Since the Epoch", worked by its formula:
        # tm_sec + tm_min·60 + tm_hour·3600 + tm_yday·86400 + (tm_year−70)·31536000
        # + ⌊(tm_year−69)/4⌋·86400 − ⌊(tm_year−1)/100⌋·86400 + ⌊(tm_year+299)/400⌋·86400
        (at(1970, 1, 1), 0),
        (at(2000, 1, 1), 946_684_800),
        (at(2000, 3, 1), 951_868_800),
        (at(2024, 2, 29, 23, 59, 59), 1_709_251_199),
    ],
)
def test_a_moment_is_its_days_since_1970(instrument, moment, seconds):
    CheckInFactory(instrument=instrument, measured_at=moment)
    WorkFactory(instrument=instrument, done_at=moment)
    rows = rows_of(instrument)
    assert rows.reading_day[0] == pytest.approx(seconds / 86400, rel=0, abs=1e-10)
    assert rows.work_day[0] == rows.reading_day[0]
    assert {day for _, days, _ in rows.action_mm.values() for day in days} == {rows.reading_day[0]}
    assert moment_of(rows.reading_day[0]) == moment


@pytest.mark.parametrize("zone", ["UTC", "America/New_York", "Asia/Kathmandu", "Pacific/Auckland"])
@pytest.mark.parametrize(
    "clock",
    [(0, 0, 0, 0), (0, 0, 0, 1), (0, 1, 0, 0), (11, 7, 13, 123_456), (23, 59, 59, 0),
     (23, 59, 59, 999_999)],
)  # fmt: skip
@pytest.mark.parametrize("day", [(1931, 3, 5), (1970, 1, 1), (2023, 7, 9), (2024, 2, 29)])
def test_a_moment_keeps_its_local_date_and_its_millisecond(instrument, zone, clock, day):
    with timezone.override(ZoneInfo(zone)):
        moment = datetime(*day, *clock, tzinfo=ZoneInfo(zone))
        CheckInFactory(instrument=instrument, measured_at=moment, actions_mm={})
        read = rows_of(instrument).reading_day[0]
        assert date_of(read) == date(*day)
        assert abs(moment_of(read) - moment) < MILLISECOND
        if moment.microsecond == 0:
            assert moment_of(read) == moment


def test_work_a_minute_after_a_reading_is_after_it_and_one_a_minute_before_is_before(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2024, 5, 1, 10, 30))
    WorkFactory(instrument=instrument, done_at=at(2024, 5, 1, 10, 29))
    WorkFactory(instrument=instrument, done_at=at(2024, 5, 1, 10, 31))
    rows = rows_of(instrument)
    assert (np.sign(rows.work_day - rows.reading_day[0])).tolist() == [-1, 1]
    minutes = np.diff([rows.work_day[0], rows.reading_day[0], rows.work_day[1]]) * 1440
    assert minutes == pytest.approx([1, 1], abs=1e-6)


def test_what_was_not_measured_is_missing_and_a_zero_is_a_zero(instrument):
    nothing = dict.fromkeys(CHECK_IN_COLUMNS)
    CheckInFactory(instrument=instrument, measured_at=at(2020, 1, 1), actions_mm={}, **nothing)
    CheckInFactory(
        instrument=instrument,
        measured_at=at(2021, 1, 1),
        actions_mm={(12, "treble"): 0.0},
        **nothing | {"bridge_rise_mm": 0.0, "temperature_c": -1.5},
    )
    rows = rows_of(instrument)
    found = {name: column.tolist() for name, column in rows.reading.items()}
    assert found.pop("bridge_rise_mm") == pytest.approx([np.nan, 0.0], nan_ok=True)
    assert found.pop("temperature_c") == pytest.approx([np.nan, -1.5], nan_ok=True)
    assert found.pop("bridge_rise_count") == [1, 1]
    assert np.isnan(list(found.values())).all()
    assert rows.action_mm[12, "treble"][2].tolist() == [0.0]
    assert rows.action_mm[12, "bass"][2].size == 0


def test_rows_come_by_instrument_and_then_time_whatever_their_order_on_record():
    first, second = InstrumentFactory(), InstrumentFactory()
    for instrument, minute, rise in (
        (second, 5, 2.5), (first, 7, 1.7), (second, 3, 2.3), (first, 6, 1.6), (first, 8, 1.8),
        (first, 7, 1.75),
    ):  # fmt: skip
        CheckInFactory(
            instrument=instrument,
            measured_at=at(2022, 4, 1, 10, minute),
            bridge_rise_mm=rise,
            actions_mm={(1, "bass"): rise / 10, (12, "treble"): rise, (7, "bass"): 9.0},
        )
    for instrument, minute, bass in ((second, 2, 2.2), (first, 4, 1.4), (first, 1, 1.1)):
        WorkFactory(
            instrument=instrument, done_at=at(2023, 1, 1, 9, minute), saddle_bass_to_mm=bass
        )
    rows = rows_of(second, first)
    assert rows.ids.tolist() == [first.pk, second.pk]
    assert rows.reading_who.tolist() == [0, 0, 0, 0, 1, 1]
    # of the two in one minute, the one entered later comes later
    in_order = [1.6, 1.7, 1.75, 1.8, 2.3, 2.5]
    assert rows.reading["bridge_rise_mm"].tolist() == in_order
    who, day, value = rows.action_mm[12, "treble"]
    assert value.tolist() == in_order
    assert who.tolist() == rows.reading_who.tolist()
    assert day.tolist() == rows.reading_day.tolist()
    assert rows.action_mm[1, "bass"][2] == pytest.approx(np.array(in_order) / 10)
    assert set(rows.action_mm) == {
        (fret, side) for fret in ACTION_FRETS for side in ("bass", "treble")
    }
    assert rows.work_who.tolist() == [0, 0, 1]
    assert rows.work["saddle_bass_to_mm"].tolist() == [1.1, 1.4, 2.2]


def test_action_readings_in_any_order_follow_their_check_ins():
    # The database promises no order here, though small tables mostly come in one: so without it.
    check_ins = np.array([40.0, 10.0, 30.0])  # by time, not by number
    found, place = _of_readings(
        {
            "check_in_id": np.array([30.0, 10.0, 99.0, 40.0, 10.0]),  # 99 was voided in between
            "action_mm": np.array([3.0, 1.1, 9.0, 4.0, 1.2]),
        },
        check_ins,
    )
    assert place.tolist() == [0, 1, 1, 2]
    assert found["action_mm"].tolist() == [4.0, 1.1, 1.2, 3.0]


def test_a_day_holds_its_last_moment_and_not_the_next_days_first(instrument):
    with timezone.override(ZoneInfo("America/New_York")):  # four hours behind in June
        for moment, rise in (
            (at(2024, 6, 2, 3, 59, 59), 1.0),
            (at(2024, 6, 2, 4, 0, 0), 2.0),
        ):
            CheckInFactory(
                instrument=instrument,
                measured_at=moment,
                bridge_rise_mm=rise,
                actions_mm={(12, "bass"): rise},
            )
        WorkFactory(instrument=instrument, done_at=at(2025, 1, 1))
        rows = rows_of(instrument)
    assert rows.reading["bridge_rise_mm"].tolist() == [1.0]
    assert rows.action_mm[12, "bass"][2].tolist() == [1.0]
    assert rows.work_day.tolist() == [day_number(at(2025, 1, 1))]


def test_what_is_void_or_was_read_slack_is_not_read(instrument):
    void = {"voided_at": at(2023, 1, 1), "voided_by": UserFactory(), "void_reason": "mistyped"}
    CheckInFactory(instrument=instrument, **void)
    CheckInFactory(instrument=instrument, at_pitch=False)
    WorkFactory(instrument=instrument, **void)
    kept = CheckInFactory(instrument=instrument, bridge_rise_mm=0.9)
    rows = rows_of(instrument)
    assert rows.reading_day == pytest.approx([day_number(kept.measured_at)])
    assert rows.reading["bridge_rise_mm"].tolist() == [0.9]
    assert [len(who) for who, _, _ in rows.action_mm.values()] == [1, 1, 1, 1]
    assert rows.work_who.size == 0


@pytest.mark.parametrize("wanted", [[0, 2], [0, 1, 2, 3], [3], [0, 29], [29, 0, 3]])
def test_only_the_instruments_asked_for_are_read_near_together_or_far_apart(wanted):
    instruments = [InstrumentFactory() for _ in range(30)]
    for number in (0, 1, 2, 3, 29):
        CheckInFactory(instrument=instruments[number], bridge_rise_mm=number / 10)
        WorkFactory(instrument=instruments[number], saddle_bass_to_mm=1 + number / 10)
    rows = rows_of(*[instruments[number] for number in wanted])
    places = sorted(wanted)
    assert rows.ids.tolist() == [instruments[number].pk for number in places]
    assert [row["tag"] for row in rows.instruments] == [instruments[n].tag for n in places]
    assert rows.reading_who.tolist() == rows.work_who.tolist() == list(range(len(wanted)))
    assert rows.reading["bridge_rise_mm"] == pytest.approx(np.array(places) / 10)
    assert rows.work["saddle_bass_to_mm"] == pytest.approx(1 + np.array(places) / 10)
    assert rows.action_mm[12, "bass"][0].tolist() == list(range(len(wanted)))


def test_no_instruments_and_unknown_ones_give_no_rows(instrument):
    CheckInFactory(instrument=instrument)
    for ids in ([], [instrument.pk + 1], [instrument.pk + 1, instrument.pk + 1000]):
        rows = read_rows(ids, AS_OF)
        assert len(rows.ids) == len(rows.reading_who) == len(rows.work_kind) == 0
        assert len(rows.action_mm[12, "bass"][0]) == 0


@pytest.mark.parametrize("kind", WorkKind.values)
def test_work_keeps_its_kind_and_whether_lift_starts_afresh(instrument, kind):
    tilt = {"tilt_from_deg": 0.0, "tilt_to_deg": 0.25}
    WorkFactory(instrument=instrument, kind=kind, done_at=at(2020, 1, 1), **tilt)
    WorkFactory(instrument=instrument, kind=kind, done_at=at(2021, 1, 1), new_origin=True, **tilt)
    rows = rows_of(instrument)
    assert rows.work_kind.tolist() == [kind, kind]
    assert rows.work_new_origin.tolist() == [False, True]
    assert rows.work["tilt_to_deg"].tolist() == [0.25, 0.25]
    assert set(rows.work).isdisjoint({"kind", "new_origin", "day"})
