"""Checking an instrument in: units, refusals, the question about unusual figures, corrections."""

from datetime import date, datetime, time, timedelta
from itertools import pairwise
from uuid import uuid4

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone

from measurements.advice.counsel import counsel
from measurements.check_ins.forms import moment_on
from measurements.facts.provisional import APART, Provisional
from measurements.models import CheckIn, Outlook
from tests.factories import CheckInFactory, InstrumentFactory

pytestmark = pytest.mark.django_db

# Steel, usual neck: these agree (worked row of the action module's table, bass).
TYPED = {
    "stage": "received",
    "at_pitch": "on",
    "relief_mm": "0.20",
    "relief_press": "1-joint",
    "action_1_bass_mm": "0.50",
    "action_1_treble_mm": "0.40",
    "action_12_bass_mm": "6/64",
    "action_12_treble_mm": "1.9",
    "saddle_bass_mm": "3.1",
    "saddle_treble_mm": "2,2 mm",
    "bridge_rise_mm": "0.4",
    "humidity_pct": "45",
    "temperature_c": "70 F",
    "notes": "",
    "gauge": "",
}


def address(instrument) -> str:
    return reverse("check-in-add", kwargs={"tag": instrument.tag})


def typed(**changes: str) -> dict[str, str]:
    return {**TYPED, "uuid": str(uuid4()), "day": timezone.localdate().isoformat(), **changes}


def test_it_saves_what_was_measured_in_millimetres(at_bench, tech):
    instrument = InstrumentFactory()
    response = at_bench.post(address(instrument), typed())
    assert response.status_code == 302
    check_in = CheckIn.objects.get()
    assert check_in.measured_by == tech
    assert check_in.saddle_treble_mm == 2.2
    assert check_in.temperature_c == pytest.approx(21.111, abs=0.001)
    actions = {(a.fret, a.side): a.action_mm for a in check_in.action_readings.all()}
    assert actions[12, "bass"] == pytest.approx(2.38125)  # 6/64 in exactly
    assert check_in.as_typed["action_12_bass_mm"] == "6/64"


def test_it_refreshes_the_outlook(at_bench):
    instrument = InstrumentFactory()
    at_bench.post(address(instrument), typed())
    outlook = Outlook.objects.get(instrument=instrument)
    assert outlook.readings == 1
    assert outlook.bridge_rise_mm == 0.4


def test_a_fault_in_the_forecast_costs_no_reading(at_bench, monkeypatch):
    def broken(*args, **kwargs):
        raise RuntimeError("forecast broken")

    instrument = InstrumentFactory()
    at_bench.post(address(instrument), typed())
    monkeypatch.setattr("measurements.forecast.outlooks.gather", broken)
    response = at_bench.post(address(instrument), typed(), follow=False)
    assert response.status_code == 302
    assert CheckIn.objects.count() == 2
    assert Outlook.objects.get(instrument=instrument).out_of_date


def test_a_bare_number_is_in_the_persons_own_unit(at_bench, tech):
    tech.unit = "in"
    tech.save()
    at_bench.post(
        address(InstrumentFactory()),
        typed(
            **{name: "" for name in TYPED if name.endswith("_mm")} | {"action_12_bass_mm": "0.094"}
        ),
    )
    assert CheckIn.objects.get().action_readings.get().action_mm == pytest.approx(2.3876)


@pytest.mark.parametrize(
    ("field", "text", "message"),
    [
        ("relief_mm", "2.4", "Relief 2.40 mm: expected −0.50 mm to 1.50 mm; did you mean 0.24 mm?"),
        ("saddle_bass_mm", "-1", "Saddle, bass −1.00 mm: expected 0.00 mm to 10.00 mm"),
        ("action_12_bass_mm", "abc", "Action at 12, bass: "),
        ("action_12_bass_mm", "1/0", "Action at 12, bass: "),
        ("bridge_rise_mm", "nan", "Bridge rise: "),
        ("bridge_rise_mm", "1e308", "Bridge rise: "),
        ("humidity_pct", "450", "Humidity (% RH): "),
        ("day", "2999-01-01", "Date 1 January 2999 lies ahead"),
        ("day", "1066-01-01", "Date 1 January 1066 is before the instrument was built, 1998"),
        ("day", "yesterday", "Enter a valid date"),
        ("uuid", "not-a-uuid", "Enter a valid UUID"),
    ],
)
def test_it_refuses_by_name_and_keeps_all_that_was_typed(at_bench, field, text, message):
    response = at_bench.post(
        address(InstrumentFactory()), typed(**{field: text, "notes": "kept <b>"})
    )
    assert response.status_code == 422
    assert any(message in error for error in response.context["form"].errors[field])
    page = response.content.decode()
    assert "kept &lt;b&gt;" in page
    assert 'value="2,2 mm"' in page
    assert CheckIn.objects.count() == 0


def test_it_needs_at_least_one_reading(at_bench):
    empty = {name: "" for name in TYPED if name.endswith("_mm")}
    response = at_bench.post(address(InstrumentFactory()), typed(**empty))
    assert response.status_code == 422
    assert "needs at least one measured length" in response.content.decode()


def test_an_unusual_figure_is_asked_about_once(at_bench):
    instrument = InstrumentFactory()
    unusual = typed(relief_mm="1.2")
    response = at_bench.post(address(instrument), unusual)
    assert response.status_code == 422
    assert "Relief 1.20 mm is unusual" in response.content.decode()
    assert (
        at_bench.post(address(instrument), {**unusual, "relief_mm-is-right": "0.9"}).status_code
        == 422
    )
    assert (
        at_bench.post(address(instrument), {**unusual, "relief_mm-is-right": "1.2"}).status_code
        == 302
    )
    assert CheckIn.objects.get().relief_mm == 1.2


def test_a_repeated_submit_is_one_check_in(at_bench):
    instrument = InstrumentFactory()
    once = typed()
    assert at_bench.post(address(instrument), once).status_code == 302
    assert at_bench.post(address(instrument), once).status_code == 302
    assert CheckIn.objects.count() == 1


def test_one_uuid_cannot_serve_two_instruments(at_bench):
    once = typed()
    at_bench.post(address(InstrumentFactory()), once)
    response = at_bench.post(address(InstrumentFactory()), once)
    assert response.status_code == 422
    assert "already saved for another instrument" in response.content.decode()
    assert CheckIn.objects.count() == 1


def test_an_earlier_day_keeps_its_order(at_bench):
    instrument = InstrumentFactory()
    day = (date.today() - timedelta(days=30)).isoformat()
    at_bench.post(address(instrument), typed(day=day))
    at_bench.post(address(instrument), typed(day=day, stage="returned"))
    assert [c.stage for c in instrument.check_ins.order_by("measured_at")] == [
        "received",
        "returned",
    ]


def test_work_dated_yesterday_comes_after_yesterdays_reading(at_bench):
    instrument = InstrumentFactory()
    yesterday = timezone.localdate() - timedelta(days=1)
    evening = timezone.make_aware(datetime.combine(yesterday, time(19)))
    CheckInFactory(instrument=instrument, measured_at=evening)
    assert moment_on(yesterday, instrument) > evening
    assert timezone.localtime(moment_on(yesterday, instrument)).date() == yesterday


def test_what_follows_at_once_is_later_by_seconds_only():
    instrument = InstrumentFactory()
    day = timezone.localdate()
    for _ in range(3):  # pressed three times in a row
        last = moment_on(day, instrument)
        CheckInFactory(instrument=instrument, measured_at=last)
    kept = list(CheckIn.objects.order_by("measured_at").values_list("measured_at", flat=True))
    assert all(later - earlier >= APART for earlier, later in pairwise(kept))
    assert last - timezone.now() <= 2 * APART


def test_the_preview_takes_an_untyped_side_from_what_is_known(at_bench):
    instrument = InstrumentFactory()
    CheckInFactory(instrument=instrument, saddle_treble_mm=2.2)
    typed = Provisional(timezone.now(), {"saddle_bass_mm": 2.9})
    now = counsel(instrument, typed=typed)
    assert np.asarray(now.readings.saddle_mm).tolist() == [2.9, 2.2]


def test_it_shows_what_was_read_last_time(at_bench):
    instrument = InstrumentFactory()
    CheckInFactory(instrument=instrument, relief_mm=0.17)
    assert "Last time 0.17 mm" in at_bench.get(address(instrument)).content.decode()


def test_the_preview_says_what_was_understood_and_saves_nothing(at_bench):
    instrument = InstrumentFactory()
    response = at_bench.post(
        reverse("check-in-preview", kwargs={"tag": instrument.tag}),
        typed(relief_mm="2.4"),
        headers={"HX-Request": "true"},
    )
    text = response.content.decode()
    assert "2.38 mm = 0.094 in" in text
    assert "did you mean 0.24 mm?" in text
    assert CheckIn.objects.count() == 0


def test_contradicting_readings_stop_the_advice_and_name_the_suspect(at_bench):
    instrument = InstrumentFactory()
    at_bench.post(address(instrument), typed(action_12_bass_mm="4.2"))
    page = at_bench.get(reverse("instrument", kwargs={"tag": instrument.tag})).content.decode()
    alarm = '<div class="note alarm">\n    <p class="big">▲ Stop and measure again</p>'
    assert alarm in page
    assert "action at fret 12, bass" in page
    work = at_bench.get(reverse("work-add", kwargs={"tag": instrument.tag, "kind": "relief"}))
    assert '<section class="note alarm"' in work.content.decode()


class TestCorrecting:
    def test_the_wrong_one_is_struck_out_and_replaced(self, at_bench, tech):
        wrong = CheckInFactory(relief_mm=0.24)
        response = at_bench.post(
            reverse("check-in-correct", kwargs={"uuid": wrong.uuid}),
            typed(reason="read at the wrong fret", day=wrong.measured_at.date().isoformat()),
        )
        assert response.status_code == 302
        wrong.refresh_from_db()
        assert (wrong.voided_by, wrong.void_reason) == (tech, "read at the wrong fret")
        assert wrong.replaced_by.measured_at == wrong.measured_at
        assert Outlook.objects.get(instrument=wrong.instrument).readings == 1

    def test_readings_at_other_frets_are_kept(self, at_bench):
        wrong = CheckInFactory(actions_mm={(7, "bass"): 1.8, (12, "bass"): 2.3})
        address = reverse("check-in-correct", kwargs={"uuid": wrong.uuid})
        assert 'name="action_7_bass_mm" value="1.8 mm"' in at_bench.get(address).content.decode()

    def test_the_same_form_sent_twice_is_one_correction(self, at_bench):
        wrong = CheckInFactory()
        address = reverse("check-in-correct", kwargs={"uuid": wrong.uuid})
        once = typed(reason="slip", day=wrong.measured_at.date().isoformat())
        assert at_bench.post(address, once).status_code == 302
        response = at_bench.post(address, once)
        assert response["Location"] == reverse("instrument", kwargs={"tag": wrong.instrument.tag})
        assert CheckIn.objects.count() == 2

    def test_it_needs_a_reason(self, at_bench):
        wrong = CheckInFactory()
        response = at_bench.post(reverse("check-in-correct", kwargs={"uuid": wrong.uuid}), typed())
        assert response.status_code == 422
        assert "Say why the earlier one was wrong." in response.content.decode()
        assert CheckIn.objects.count() == 1

    def test_the_form_holds_what_was_entered(self, at_bench):
        wrong = CheckInFactory(relief_mm=0.24)
        page = at_bench.get(
            reverse("check-in-correct", kwargs={"uuid": wrong.uuid})
        ).content.decode()
        assert 'value="0.24 mm"' in page

    def test_a_german_finds_it_with_decimal_commas(self, at_bench):
        wrong = CheckInFactory(relief_mm=0.24)
        address = reverse("check-in-correct", kwargs={"uuid": wrong.uuid})
        page = at_bench.get(address, headers={"accept-language": "de"}).content.decode()
        assert 'value="0,24 mm"' in page

    @pytest.mark.parametrize(("language", "shown"), [("de", "1,234"), ("en", "1.234 mm")])
    def test_what_a_german_typed_is_given_as_its_reader_reads_it(self, at_bench, language, shown):
        wrong = CheckInFactory(relief_mm=1.234, as_typed={"unit": "mm", "relief_mm": "1,234"})
        address = reverse("check-in-correct", kwargs={"uuid": wrong.uuid})
        response = at_bench.get(address, headers={"accept-language": language})
        assert response.context["form"]["relief_mm"].value() == shown

    def test_a_voided_one_cannot_be_corrected(self, at_bench, tech):
        wrong = CheckInFactory()
        at_bench.post(reverse("check-in-void", kwargs={"uuid": wrong.uuid}), {"reason": "test"})
        response = at_bench.get(reverse("check-in-correct", kwargs={"uuid": wrong.uuid}))
        assert response.status_code == 302

    def test_voiding_twice_is_refused(self, at_bench):
        wrong = CheckInFactory()
        address = reverse("check-in-void", kwargs={"uuid": wrong.uuid})
        assert at_bench.post(address, {"reason": "test"}).status_code == 302
        response = at_bench.post(address, {"reason": "again"}, follow=True)
        assert "was voided before" in response.content.decode()
