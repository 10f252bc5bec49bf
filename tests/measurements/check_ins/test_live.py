"""What is said while a check-in is typed, and readings of one place that were taken several times."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from measurements.advice.counsel import counsel
from measurements.check_ins.expected import rise_forecast
from measurements.check_ins.understood import change_since, reading_words
from measurements.models import CheckIn
from tests.factories import CheckInFactory, InstrumentFactory, WorkFactory
from tests.measurements.check_ins.test_views import TYPED, address, typed

pytestmark = pytest.mark.django_db

EMPTY = {name: "" for name in TYPED if name.endswith("_mm")}


def said(client, instrument, query: str = "", **figures: str):
    """The answer to what was typed: its context, and the lines beside each box."""
    response = client.post(
        reverse("check-in-preview", kwargs={"tag": instrument.tag}) + query,
        typed(**figures),
        headers={"HX-Request": "true"},
    )
    assert response.status_code == 200
    return response.context, {item.name: item for item in response.context["understood"]}


class TestRepeatReadings:
    def test_they_are_averaged_and_kept(self, at_bench):
        at_bench.post(
            address(InstrumentFactory()),
            typed(bridge_rise_mm="0.4 0.5 0.6", action_12_bass_mm='0.094"; 0.096"'),
        )
        check_in = CheckIn.objects.get()
        assert check_in.bridge_rise_mm == pytest.approx(0.5)
        assert check_in.bridge_rise_count == 3
        assert check_in.bridge_rise_spread_mm == pytest.approx(0.1)  # by hand: −0.1, 0, 0.1; n − 1
        action = check_in.action_readings.get(fret=12, side="bass").action_mm
        assert action == pytest.approx(0.095 * 25.4)
        assert check_in.repeats_mm == {
            "bridge_rise_mm": pytest.approx([0.4, 0.5, 0.6]),
            "action_12_bass_mm": pytest.approx([0.094 * 25.4, 0.096 * 25.4]),
        }
        assert check_in.as_typed["bridge_rise_mm"] == "0.4 0.5 0.6"

    def test_one_reading_is_one(self, at_bench):
        at_bench.post(address(InstrumentFactory()), typed())
        check_in = CheckIn.objects.get()
        assert (check_in.repeats_mm, check_in.bridge_rise_count) == ({}, 1)
        assert check_in.bridge_rise_spread_mm is None

    def test_the_page_of_the_check_in_shows_how_many_and_their_spread(self, at_bench):
        check_in = CheckInFactory(
            saddle_bass_mm=2.4333, repeats_mm={"saddle_bass_mm": [2.4, 2.5, 2.4]}
        )
        page = at_bench.get(reverse("check-in", kwargs={"uuid": check_in.uuid})).content.decode()
        assert "mean of 3: 2.43 mm = 0.096 in, spread 0.06 mm" in page

    def test_their_spread_is_in_the_readers_own_unit(self):
        assert reading_words([2.4, 2.5, 2.4], "in") == (
            "mean of 3: 2.43 mm = 0.096 in, spread 0.002 in"
        )

    def test_each_of_them_has_to_be_possible(self, at_bench):
        response = at_bench.post(address(InstrumentFactory()), typed(relief_mm="0.2 2.4"))
        assert response.status_code == 422
        assert "did you mean 0.24 mm?" in response.context["form"].errors["relief_mm"][0]

    def test_one_that_does_not_belong_is_asked_about_once(self, at_bench):
        instrument = InstrumentFactory()
        odd = typed(saddle_bass_mm="3.1 3.9 3.1")
        response = at_bench.post(address(instrument), odd)
        assert response.status_code == 422
        question = response.context["form"].errors["saddle_bass_mm"][0]
        assert "Saddle, bass: 3.90 mm lies 0.80 mm from the mean of the others" in question
        assert CheckIn.objects.count() == 0
        odd["saddle_bass_mm-is-right"] = "3.1 3.9 3.1"
        assert at_bench.post(address(instrument), odd).status_code == 302

    def test_the_scatter_of_the_gauge_is_not_asked_about(self, at_bench):
        response = at_bench.post(address(InstrumentFactory()), typed(saddle_bass_mm="3.1 3.2 3.0"))
        assert response.status_code == 302

    def test_what_is_ambiguous_is_refused_with_how_to_write_it(self, at_bench):
        response = at_bench.post(address(InstrumentFactory()), typed(saddle_bass_mm="3, 1"))
        error = response.context["form"].errors["saddle_bass_mm"][0]
        assert "may be one number with a stray space" in error
        assert "write 2.4 2.5 2.4 mm" in error

    def test_a_correction_offers_each_reading_again(self, at_bench):
        wrong = CheckInFactory(
            saddle_bass_mm=2.45, repeats_mm={"saddle_bass_mm": [2.4, 2.5]}, as_typed={}
        )
        page = at_bench.get(reverse("check-in-correct", kwargs={"uuid": wrong.uuid}))
        assert 'value="2.4 2.5 mm"' in page.content.decode()

    def test_they_make_the_balance_surer(self, at_bench):
        instrument = InstrumentFactory()
        once, _ = said(at_bench, instrument)
        often, _ = said(at_bench, instrument, action_12_bass_mm="2.38 2.38 2.38 2.38")
        before, after = (context["advice"].balance_u_mm[0] for context in (once, often))
        assert after < before
        assert once["advice"].balance_u_mm[1] == often["advice"].balance_u_mm[1]


class TestBesideTheBox:
    def test_it_says_both_units_and_the_change_since_last_time(self, at_bench):
        instrument = InstrumentFactory()
        CheckInFactory(instrument=instrument, saddle_bass_mm=3.0)
        _, beside = said(at_bench, instrument, saddle_bass_mm="2.85")
        assert beside["saddle_bass_mm"].lines[:2] == (
            "2.85 mm = 0.112 in",
            "0.15 mm less than last time",
        )

    def test_an_empty_box_says_what_was_read_last_time(self, at_bench):
        instrument = InstrumentFactory()
        CheckInFactory(instrument=instrument, relief_mm=0.17)
        _, beside = said(at_bench, instrument, relief_mm="")
        assert beside["relief_mm"].lines == ("Last time 0.17 mm",)

    def test_it_says_what_is_wrong(self, at_bench):
        _, beside = said(at_bench, InstrumentFactory(), relief_mm="2.4", saddle_bass_mm="abc")
        assert "did you mean 0.24 mm?" in beside["relief_mm"].wrong
        assert "is not a plain number" in beside["saddle_bass_mm"].wrong

    def test_an_unusual_figure_is_understood_and_asked_about(self, at_bench):
        _, beside = said(at_bench, InstrumentFactory(), relief_mm="1.2")
        assert beside["relief_mm"].lines[0] == "1.20 mm = 0.047 in"
        assert "is unusual" in beside["relief_mm"].wrong
        assert "tick the box" not in beside["relief_mm"].wrong  # there is none before saving

    def test_the_action_is_held_against_the_others(self, at_bench):
        _, beside = said(at_bench, InstrumentFactory(), saddle_bass_mm="3.0")
        # First row of the action module's worked table: 2.3369 at fret 12.
        assert "the others say 2.34 mm" in beside["action_12_bass_mm"].lines

    def test_the_first_suspect_is_marked_beside_its_own_box(self, at_bench):
        context, beside = said(at_bench, InstrumentFactory(), action_12_bass_mm="4.6")
        marked = [name for name in beside if "▲ suspect" in " ".join(beside[name].lines)]
        assert "Suspect: action at fret 12, bass" in context["summary"]
        assert marked == ["action_12_bass_mm"]

    def test_readings_that_agree_are_marked_nowhere(self, at_bench):
        _, beside = said(at_bench, InstrumentFactory())
        assert not any("suspect" in " ".join(item.lines) for item in beside.values())

    def test_after_work_it_says_what_each_place_should_read(self, at_bench):
        instrument = InstrumentFactory()
        read = CheckInFactory(instrument=instrument, saddle_bass_mm=3.0)
        WorkFactory(instrument=instrument, done_at=read.measured_at + timedelta(hours=1))
        _, beside = said(at_bench, instrument, saddle_bass_mm="2.6")
        assert "after the work 2.60 mm expected" in beside["saddle_bass_mm"].lines

    def test_temperature_in_both_units(self, at_bench):
        _, beside = said(at_bench, InstrumentFactory(), temperature_c="70 F")
        assert beside["temperature_c"].lines == ("21.1 °C = 70 °F",)

    def test_nothing_typed_runs_as_markup(self, at_bench):
        response = at_bench.post(
            reverse("check-in-preview", kwargs={"tag": InstrumentFactory().tag}),
            typed(relief_mm="<script>"),
        )
        assert "<script>" not in response.content.decode()

    def test_words(self):
        assert reading_words([2.4]) == "2.40 mm = 0.094 in"
        assert change_since(2.4, 2.4, "mm") == "as last time"
        assert change_since(2.54, 0.0, "in") == "0.100 in more than last time"


class TestTheForecast:
    @pytest.fixture
    def instrument(self):
        made = InstrumentFactory(built_year=1998)
        now = timezone.now()
        for years, rise in ((12, 0.1), (8, 0.2), (4, 0.3), (1, 0.35)):
            CheckInFactory(
                instrument=made,
                measured_at=now - timedelta(days=365 * years),
                bridge_rise_mm=rise,
            )
        return made

    def test_it_stands_beside_the_bridge_rise_with_its_range(self, at_bench, instrument):
        _, beside = said(at_bench, instrument, bridge_rise_mm="0.4")
        assert any(
            line.startswith("outlook expected 0.3") for line in beside["bridge_rise_mm"].lines
        )

    def test_a_first_reading_has_none(self, at_bench):
        _, beside = said(at_bench, InstrumentFactory(), bridge_rise_mm="0.4")
        assert not any("outlook" in line for line in beside["bridge_rise_mm"].lines)

    def test_a_jump_stops_the_advice(self, at_bench, instrument):
        # The action agrees with the rise: 1.6 mm more at the saddle is 0.8 at fret 12, by the 2 : 1 rule
        # of the trade ("How To Adjust String Height at the Bridge", Acoustic Guitar magazine, 2013).
        figures = {"action_12_bass_mm": "3.2", "action_12_treble_mm": "2.7"}
        context, _ = said(at_bench, instrument, bridge_rise_mm="2.0", **figures)
        assert context["advice"].reason_key == "surprise"
        assert "far from its forecast" in context["summary"]
        again, _ = said(at_bench, instrument, bridge_rise_mm="0.4")
        assert again["advice"].reason_key != "surprise"

    def test_its_range_and_its_score_are_one_distribution(self, instrument):
        forecast = rise_forecast(counsel(instrument), humidity_pct=45, temperature_c=21)
        assert forecast is not None
        # Normal scores of the 10, 50 and 90 % points: −1.2816, 0, 1.2816 (any table).
        scores = [
            forecast.score(rise) for rise in (forecast.low_mm, forecast.likely_mm, forecast.high_mm)
        ]
        assert scores == pytest.approx([-1.2816, 0.0, 1.2816], abs=0.02)

    def test_damp_air_raises_it_and_unknown_air_widens_it(self, instrument):
        now = counsel(instrument)
        dry, damp, unknown = (
            rise_forecast(now, humidity_pct=humidity, temperature_c=21)
            for humidity in (30, 70, None)
        )
        assert dry.likely_mm < damp.likely_mm
        steady = rise_forecast(now, humidity_pct=45, temperature_c=21)
        assert unknown.high_mm - unknown.low_mm > steady.high_mm - steady.low_mm

    def test_an_earlier_day_and_a_correction_are_not_forecast(self, at_bench, instrument):
        day = (timezone.localdate() - timedelta(days=400)).isoformat()
        _, beside = said(at_bench, instrument, bridge_rise_mm="2.0", day=day)
        assert not any("outlook" in line for line in beside["bridge_rise_mm"].lines)
        wrong = instrument.check_ins.last()
        query = f"?replaces={wrong.uuid}"
        _, beside = said(at_bench, instrument, query, bridge_rise_mm="0.4")
        assert beside["bridge_rise_mm"].lines == (
            "0.40 mm = 0.016 in",
            "0.10 mm more than last time",  # than the one before the one that is wrong
        )


class TestTheSummary:
    @pytest.mark.parametrize(
        ("figures", "words"),
        [
            (EMPTY, "Nothing measured yet."),
            ({"relief_mm": "abc"}, "Not understood yet: Relief."),
            (EMPTY | {"relief_mm": "0.2"}, "Not enough readings yet"),
            ({"saddle_bass_mm": "3.0"}, "The readings agree."),
            ({"action_12_bass_mm": "4.2"}, "Suspect: action at fret 12, bass"),
        ],
    )
    def test_it_is_one_sentence(self, at_bench, figures, words):
        context, _ = said(at_bench, InstrumentFactory(), **figures)
        assert words in context["summary"]

    def test_last_times_figures_alone_contradict_nothing(self, at_bench):
        instrument = InstrumentFactory()
        CheckInFactory(instrument=instrument)
        context, _ = said(at_bench, instrument, **EMPTY | {"action_12_bass_mm": "4.2"})
        assert "measure on" in context["summary"]
        assert "advice" not in context

    @pytest.mark.parametrize("query", ["?replaces=", "?replaces=nonsense", f"?replaces={'0' * 32}"])
    def test_a_strange_address_does_no_harm(self, at_bench, query):
        context, _ = said(at_bench, InstrumentFactory(), query)
        assert context["summary"] == "The readings agree."


def test_the_boxes_stand_in_the_instruments_own_order(at_bench):
    instrument = InstrumentFactory(measuring_order=["saddle", "margins", "along each string"])
    form = at_bench.get(address(instrument)).context["form"]
    assert list(form.reading_names()) == [
        "saddle_bass_mm", "saddle_treble_mm", "margin_bass_mm", "margin_treble_mm", "relief_mm",
        "action_1_bass_mm", "action_12_bass_mm", "action_1_treble_mm", "action_12_treble_mm",
        "bridge_rise_mm", "humidity_pct", "temperature_c",
    ]  # fmt: skip
    assert form.apart_names() == ()


def test_a_whole_tag_leads_the_bench_to_the_form_and_others_to_the_instrument(at_bench, at_counter):
    instrument = InstrumentFactory()
    find = reverse("instruments") + f"?q={instrument.tag.lower()}&then=check-in"
    assert at_bench.get(find)["Location"] == address(instrument)
    page = reverse("instrument", kwargs={"tag": instrument.tag})
    assert at_counter.get(find)["Location"] == page
    assert "Check in</button>" not in at_counter.get(reverse("today")).content.decode()
