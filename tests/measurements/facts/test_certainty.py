"""Repeat readings make the balance surer: the same while typed, once saved, in the outlook and at work."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone

from geometry.balance import GaugeUncertainty, prediction_u
from geometry.readings import two_sided
from geometry.repeats import mean_u
from measurements.advice.counsel import counsel
from measurements.facts.arrays import gather
from measurements.forecast.outlooks import compute, contradictions
from measurements.models import CheckIn, Outlook, WorkKind
from measurements.work.steps import step_of
from shop.models import ShopProfile
from tests.factories import CheckInFactory, InstrumentFactory, WorkFactory
from tests.measurements.check_ins.test_live import said
from tests.measurements.check_ins.test_views import address, typed

pytestmark = pytest.mark.django_db

TODAY = date(2022, 1, 1)
#: 0.3 mm more than the others say: less than three standard uncertainties of single readings with the
#: usual gauges (0.46 mm), more than three of these means (0.20 mm).
ONCE = {"bridge_rise_mm": "0.4", "saddle_bass_mm": "3.1", "action_12_bass_mm": "2.68"}
OFTEN = {name: " ".join([text] * 4) for name, text in ONCE.items()}


def at(*moment: int) -> datetime:
    return datetime(*moment, tzinfo=UTC)


def facts_of(*instruments, as_of: date = TODAY):
    return gather([one.pk for one in instruments], as_of, ShopProfile())


@pytest.mark.parametrize(("figures", "contradicts"), [(ONCE, False), (OFTEN, True)])
def test_what_is_said_while_typing_is_said_of_what_is_saved(at_bench, figures, contradicts):
    instrument = InstrumentFactory()
    typing, _ = said(at_bench, instrument, **figures)
    assert (typing["advice"].reason_key == "contradiction") is contradicts
    assert at_bench.post(address(instrument), typed(**figures)).status_code == 302
    saved = counsel(instrument)
    assert (saved.advice.reason_key == "contradiction") is contradicts
    assert saved.advice.balance_u_mm == pytest.approx(typing["advice"].balance_u_mm)
    assert Outlook.objects.get(instrument=instrument).remeasure is contradicts
    page = at_bench.get(reverse("instrument", kwargs={"tag": instrument.tag}))
    assert (page.context["advice"].reason_key == "contradiction") is contradicts
    work = at_bench.get(reverse("work-add", kwargs={"tag": instrument.tag, "kind": "saddle"}))
    stopped = "Stop: the readings contradict each other" in work.content.decode()
    assert stopped is contradicts


def test_a_correction_is_as_sure_while_typed_as_saved(at_bench):
    instrument = InstrumentFactory()
    at_bench.post(address(instrument), typed(**OFTEN))
    wrong = CheckIn.objects.get()
    typing, _ = said(at_bench, instrument, f"?replaces={wrong.uuid}", **ONCE)
    assert typing["advice"].reason_key != "contradiction"
    single, _ = said(at_bench, InstrumentFactory(), **ONCE)
    assert typing["advice"].balance_u_mm == pytest.approx(single["advice"].balance_u_mm)


def test_a_place_not_typed_again_stays_as_sure_as_it_was(at_bench):
    instrument = InstrumentFactory()
    at_bench.post(address(instrument), typed(**OFTEN))
    typing, _ = said(at_bench, instrument, action_12_bass_mm="", saddle_bass_mm="")
    often = float(mean_u(0.1, 4, 0.0))
    neck = two_sided(counsel(instrument).neck)
    others = prediction_u(neck, GaugeUncertainty(0.03, 0.1, often, 0.2, 0.03))
    assert typing["advice"].balance_u_mm[0] == pytest.approx(float(np.hypot(often, others)[0]))


class TestWhichReadings:
    """The repeats that count are those of the check-in that the figure is from."""

    FOUR = {"relief_mm": [0.2] * 4, "saddle_bass_mm": [3.0] * 4, "action_12_bass_mm": [2.3, 2.4]}

    def test_of_an_older_check_in_where_the_newest_did_not_read_it(self):
        instrument = InstrumentFactory()
        CheckInFactory(instrument=instrument, repeats_mm=self.FOUR)
        CheckInFactory(instrument=instrument, relief_mm=None, actions_mm={})
        found = facts_of(instrument).gauges
        # GUM H.3.6 as in geometry.repeats, by hand: 0.03·√(8/11/4); and two readings 0.1 apart.
        assert found.relief_mm[0] == pytest.approx(0.012792, abs=1e-6)
        assert found.action_12_mm[0] == pytest.approx([((0.08 + 0.005) / 18) ** 0.5, 0.1])
        assert found.saddle_mm[0].tolist() == [0.1, 0.1]  # read again, once

    def test_not_where_work_has_set_it_since(self):
        instrument = InstrumentFactory()
        CheckInFactory(instrument=instrument, measured_at=at(2021, 1, 5), repeats_mm=self.FOUR)
        WorkFactory(instrument=instrument, done_at=at(2021, 2, 5))
        assert facts_of(instrument).gauges.saddle_mm[0, 0] == 0.1
        assert facts_of(instrument, as_of=date(2021, 1, 20)).gauges.saddle_mm[0, 0] < 0.05

    def test_not_of_a_reading_that_was_voided(self, owner):
        instrument = InstrumentFactory()
        CheckInFactory(
            instrument=instrument, repeats_mm=self.FOUR, voided_at=timezone.now(),
            voided_by=owner, void_reason="wrong instrument",
        )  # fmt: skip
        CheckInFactory(instrument=instrument)
        assert facts_of(instrument).gauges.relief_mm.tolist() == [0.03]

    def test_the_bridge_rise_by_its_own_columns(self):
        instrument = InstrumentFactory()
        CheckInFactory(instrument=instrument, bridge_rise_count=4, bridge_rise_spread_mm=0.2)
        assert facts_of(instrument).gauges.bridge_rise_mm == pytest.approx([0.1])
        CheckInFactory(instrument=instrument, bridge_rise_mm=0.5)
        assert facts_of(instrument).gauges.bridge_rise_mm.tolist() == [0.2]

    def test_what_is_no_place_is_passed_over(self):
        instrument = InstrumentFactory()
        CheckInFactory(instrument=instrument, repeats_mm={"margin_bass_mm": [3, 4], "x": [1, 2]})
        plain = facts_of(InstrumentFactory(), instrument).gauges
        assert plain.saddle_mm.tolist() == [[0.1, 0.1]] * 2


def a_fleet():
    """Sure and unsure, contradicting and not; the same figures, read once or four times."""
    some = InstrumentFactory.create_batch(4)
    for place, instrument in enumerate(some[:3]):
        CheckInFactory(
            instrument=instrument,
            actions_mm={(1, "bass"): 0.5, (12, "bass"): 2.34 + 0.3 * (place > 0)},
            bridge_rise_count=[4, 1, 4][place],
            bridge_rise_spread_mm=[0.0, None, 0.0][place],
            repeats_mm={} if place == 1 else {"saddle_bass_mm": [3.0] * 4,
                                              "action_12_bass_mm": [2.64] * 4},
        )  # fmt: skip
    return some


def test_many_at_once_come_to_what_each_alone_does():
    some = a_fleet()
    fleet = facts_of(*some)
    assert contradictions(fleet).tolist() == [False, False, True, False]
    assert [one.remeasure for one in compute(fleet.ids.tolist(), TODAY)] == [
        False, False, True, False,
    ]  # fmt: skip
    for row, instrument in enumerate(some):
        alone = facts_of(instrument)
        assert contradictions(alone)[0] == contradictions(fleet)[row]
        for name, u_mm in vars(fleet.gauges).items():
            assert u_mm[row].tolist() == vars(alone.gauges)[name][0].tolist(), name


def test_repeats_take_one_query_more_however_many(django_assert_num_queries):
    some = a_fleet()
    for count in (1, 4):
        with django_assert_num_queries(5):
            facts_of(*some[:count])
    with django_assert_num_queries(4):
        facts_of(some[1], some[3])


def test_repeats_make_another_outlook():
    instrument = InstrumentFactory()
    check_in = CheckInFactory(instrument=instrument)
    before = compute([instrument.pk], TODAY)[0].fingerprint
    CheckIn.objects.filter(pk=check_in.pk).update(repeats_mm={"relief_mm": [0.2, 0.2]})
    assert compute([instrument.pk], TODAY)[0].fingerprint != before


class TestAfterAStep:
    def stepped(self, **read):
        instrument = InstrumentFactory()
        CheckInFactory(instrument=instrument, measured_at=at(2021, 3, 1, 9), **read)
        work = WorkFactory(
            instrument=instrument, done_at=at(2021, 3, 1, 10), kind=WorkKind.SADDLE,
            saddle_bass_from_mm=None, saddle_bass_to_mm=None, saddle_treble_from_mm=2.2,
            saddle_treble_to_mm=2.0,
        )  # fmt: skip
        CheckInFactory(instrument=instrument, measured_at=at(2021, 3, 1, 11), **read)
        return {line.place: line.u_mm for line in step_of(work, ShopProfile()).lines}

    def test_what_was_read_often_is_held_to_less(self):
        once = self.stepped()
        often = self.stepped(
            repeats_mm={"relief_mm": [0.2] * 4}, bridge_rise_count=4, bridge_rise_spread_mm=0.2
        )
        assert once["relief"] == pytest.approx(0.03 * 2**0.5)
        assert often["relief"] == pytest.approx(0.012792 * 2**0.5, abs=1e-6)
        assert often["bridge rise"] == pytest.approx(0.1 * 2**0.5)
        assert often["fret 12, bass"] == once["fret 12, bass"]

    def test_the_quick_reading_keeps_each_of_its_readings(self, at_bench):
        work = WorkFactory(turned=True, done_at=timezone.now() - timedelta(minutes=5))
        step = {"tag": work.instrument.tag, "kind": "joint"}
        answer = at_bench.post(
            reverse("work-measure", kwargs=step),
            {"again-uuid": str(uuid4()), "again-bridge_rise_mm": "0.4 0.5 0.6",
             "again-action_12_bass_mm": "2.4 2.5", "again-action_12_treble_mm": "2.0"},
        )  # fmt: skip
        assert answer.status_code == 302, answer.context["again"].errors
        check_in = CheckIn.objects.get()
        assert check_in.repeats_mm == {
            "bridge_rise_mm": [0.4, 0.5, 0.6], "action_12_bass_mm": [2.4, 2.5],
        }  # fmt: skip
        assert check_in.bridge_rise_count == 3
        assert check_in.bridge_rise_spread_mm == pytest.approx(0.1)
