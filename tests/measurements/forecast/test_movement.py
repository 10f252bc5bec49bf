"""What moved the bridge, what the outlook rests on, and what one more reading would buy."""

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest
from django.urls import reverse

from geometry.lift import components, crossing, lasting_rise
from geometry.units import parse_length
from measurements.facts.arrays import gather
from measurements.facts.fits import fit_facts
from measurements.forecast.basis_words import basis_words
from measurements.forecast.movement import (
    Coverage,
    Movement,
    NextReading,
    coverage,
    lasting_change,
    movement,
    next_reading,
)
from measurements.forecast.outlooks import rooms_of
from measurements.forecast.record_words import movement_parts, next_reading_words
from measurements.forecast.refreshing import refresh
from measurements.models import Outlook, WorkKind
from shop.models import ShopProfile
from tests.factories import CheckInFactory, InstrumentFactory, WorkFactory

TODAY = date(2024, 6, 1)


def at(year: int, month: int = 3) -> datetime:
    return datetime(year, month, 1, 12, tzinfo=UTC)


def read(instrument, year: int, rise_mm: float | None, month: int = 3, **more) -> None:
    CheckInFactory(
        instrument=instrument, measured_at=at(year, month), bridge_rise_mm=rise_mm, **more
    )


@pytest.fixture
def instrument(db):
    made = InstrumentFactory(joint__tilting=True, built_year=2000)
    read(made, 2006, 0.1, humidity_pct=45)
    read(made, 2010, 0.25, month=8, humidity_pct=65)
    WorkFactory(
        instrument=made, kind=WorkKind.JOINT, done_at=at(2011), tilt_from_deg=0.0,
        tilt_to_deg=0.2, saddle_bass_from_mm=None, saddle_bass_to_mm=None,
    )  # fmt: skip
    read(made, 2014, -0.5)
    read(made, 2018, -0.2, month=8, humidity_pct=65)
    return made


def facts_of(instrument, as_of: date = TODAY):
    return gather([instrument.pk], as_of, ShopProfile())


def moved(instrument) -> Movement:
    facts = facts_of(instrument)
    return movement(facts, fit_facts(facts, None))


class TestMovement:
    def test_the_parts_add_up_to_what_was_measured(self, instrument):
        found = moved(instrument)
        assert found.measured_mm == pytest.approx(-0.3)
        parts = found.lasting_mm + found.season_mm + found.work_mm + found.left_mm
        assert parts == pytest.approx(found.measured_mm)
        assert (found.first, found.newest) == (date(2006, 3, 1), date(2018, 8, 1))

    def test_work_is_what_the_joint_did(self, instrument):
        # 0.2° on 289.9 mm lowers by about 1.01 mm (small angle, by hand)
        assert moved(instrument).work_mm == pytest.approx(-289.9 * np.radians(0.2), abs=0.01)

    def test_season_is_the_moisture_between_the_two_days(self, instrument):
        facts = facts_of(instrument)
        slope = components(fit_facts(facts, None))["moisture_slope"][0]
        # Wood Handbook table 4-2 at 21.1 °C: 12.0 % at 65 % RH, 8.5 % at 45 % RH
        assert moved(instrument).season_mm == pytest.approx(slope * (12.0 - 8.5), abs=0.03)
        assert not moved(instrument).humidity_missing

    def test_unknown_humidity_is_said(self, instrument):
        read(instrument, 2020, -0.1, humidity_pct=None)
        found = moved(instrument)
        assert found.humidity_missing
        assert "humidity was not read" in movement_parts(found, "mm")[1].words

    def test_lasting_lift_is_what_the_fit_says_lies_between_the_two_ages(self, instrument):
        facts = facts_of(instrument)
        fit = fit_facts(facts, None)
        ages = facts.age_years[0, [0, -1]]
        low, likely, high = lasting_change(fit, 0, ages)
        assert 0 < low < likely < high
        # the difference of the two medians is near the median of the difference
        medians = lasting_rise(fit, ages[None], probabilities=(0.5,))[0, :, 0]
        assert likely == pytest.approx(medians[1] - medians[0], abs=0.05)
        # mean over the cells, by their definition: Σ w·β·(g(t₂) − g(t₁))
        gained = (ages[1] / 30.0) ** fit.exponents - (ages[0] / 30.0) ** fit.exponents
        mean = float(np.einsum("pb,p,b->", fit.weight[0, 0], gained, fit.rates_mm))
        assert low < mean < high

    def test_from_an_age_to_itself_nothing_lasts(self, instrument):
        fit = fit_facts(facts_of(instrument), None)
        assert lasting_change(fit, 0, np.array([10.0, 10.0])) == (0.0, 0.0, 0.0)

    @pytest.mark.django_db
    def test_an_unknown_build_year_mixes_three_ages(self):
        known, unknown = InstrumentFactory(built_year=1986), InstrumentFactory(built_year=None)
        for made in (known, unknown):
            for year, rise in ((2006, 0.1), (2012, 0.4), (2018, 0.6)):
                read(made, year, rise)
        facts = gather([known.pk, unknown.pk], TODAY, ShopProfile())
        fit = fit_facts(facts, None)
        both = [movement(facts, fit, row) for row in (0, 1)]
        spread = [found.lasting_high_mm - found.lasting_low_mm for found in both]
        assert spread[1] > 0.2
        # the stated age is the same, 20 years at the first reading: three ages mixed, not another rate
        assert both[0].lasting_mm == pytest.approx(both[1].lasting_mm, abs=0.1)

    @pytest.mark.django_db
    def test_one_reading_or_one_visit_has_not_moved(self):
        made = InstrumentFactory()
        read(made, 2010, 0.1)
        assert moved(made) is None
        CheckInFactory(
            instrument=made, measured_at=datetime(2010, 3, 4, tzinfo=UTC), bridge_rise_mm=0.4
        )
        assert moved(made) is None


class TestTheTable:
    @pytest.mark.parametrize("unit", ["mm", "in"])
    @pytest.mark.parametrize("seed", range(20))
    def test_the_figures_shown_add_up(self, unit, seed):
        rng = np.random.default_rng(seed)
        first, newest, lasting, season, work = rng.normal(0.0, 1.0, 5)
        found = Movement(
            first=date(2010, 1, 1), newest=date(2020, 1, 1), first_mm=first, newest_mm=newest,
            lasting_mm=lasting, lasting_low_mm=lasting - 0.1, lasting_high_mm=lasting + 0.1,
            season_mm=season, work_mm=work, scatter_mm=0.3, humidity_missing=False,
        )  # fmt: skip
        *parts, together = [
            parse_length(part.amount.replace("+", "")).mm for part in movement_parts(found, unit)
        ]
        assert sum(parts) == pytest.approx(together, abs=1e-9)
        step = 0.01 if unit == "mm" else 0.0254
        assert together == pytest.approx(newest - first, abs=step)
        assert parts[3] == pytest.approx(found.left_mm, abs=3 * step)

    def test_what_scatter_cannot_explain_is_called_so(self, instrument):
        read(instrument, 2021, 1.9)
        left = movement_parts(moved(instrument), "mm")[3]
        assert "more than scatter explains" in left.words

    def test_signs_are_shown_and_nothing_has_none(self, instrument):
        found = replace(moved(instrument), work_mm=-0.001, season_mm=0.2)
        amounts = [part.amount for part in movement_parts(found, "mm")]
        assert amounts[1] == "+0.20 mm"
        assert amounts[2] == "0.00 mm"


class TestHowSure:
    def test_it_counts_years_seasons_and_readings_held_down(self, instrument):
        for year, rise in ((2019, -0.1), (2020, -0.05), (2021, 4.0), (2022, 0.0), (2023, 0.05)):
            read(instrument, year, rise)
        facts = facts_of(instrument)
        found = coverage(facts, fit_facts(facts, None))
        assert found.readings == 9
        assert found.span_years == pytest.approx(17.0, abs=0.01)
        assert found.seasons == 2  # March to May, June to August
        assert found.held_down == (date(2021, 3, 1),)

    def test_words(self):
        outlook = Outlook(readings=5, basis={"humidity_known": 4, "origin_assumed": True})
        covered = Coverage(5, 12.2, 3, (date(2014, 3, 3), date(2016, 5, 1)))
        words = basis_words(outlook, covered)
        assert "5 readings of the bridge rise over 12 years, in three seasons of the year" in words
        assert "1 without humidity" in words
        assert "build year unknown" in words
        assert words.endswith(
            "The readings of 3 March 2014 and 1 May 2016 do not fit the others and count for little."
        )

    def test_three_readings_in_one_season_are_called_wide(self):
        outlook = Outlook(readings=3, basis={"humidity_known": 3})
        words = basis_words(outlook, Coverage(3, 0.2, 1, ()))
        assert "over 2 months, all in one season of the year" in words
        assert "cannot tell season from lift" in words
        assert "little of how the lift slows" in words

    def test_one_reading_covers_no_span(self):
        words = basis_words(Outlook(readings=1, basis={"humidity_known": 1}), Coverage(1, 0, 1, ()))
        assert words.startswith("Rests on 1 reading of the bridge rise. With so few")

    @pytest.mark.parametrize(
        ("years", "words"),
        [
            (12.4, "12 years"),
            (1.5, "18 months"),
            (0.09, "1 month"),
            (0.02, "7 days"),
            (0, "one day"),
        ],
    )
    def test_spans(self, years, words):
        outlook = Outlook(readings=4, basis={"humidity_known": 4})
        assert f"over {words}," in basis_words(outlook, Coverage(4, years, 4, ()))


class TestOneMoreReading:
    def test_the_range_now_is_that_of_the_dates(self, instrument):
        facts = facts_of(instrument)
        found = next_reading(facts, ShopProfile(), None)
        left = rooms_of(facts, ShopProfile())
        limit = left.rise_limit_mm + left.joint_room_mm - facts.offset_now_mm
        horizon = facts.age_now_years + 60.0
        dates = crossing(fit_facts(facts, None), limit, horizon_age_years=horizon)[0]
        width = np.nan_to_num(dates[2], nan=horizon[0]) - np.nan_to_num(dates[0], nan=horizon[0])
        assert found.now_years == pytest.approx(width, abs=2e-3)

    @pytest.mark.django_db
    def test_a_reading_narrows_a_range_that_rests_on_two(self):
        made = InstrumentFactory(built_year=2015)
        read(made, 2016, -1.0)
        read(made, 2017, -0.9)
        found = next_reading(facts_of(made), ShopProfile(), None)
        assert 0 < found.after_years < found.now_years
        assert 0 < found.after_dry_years < found.now_years

    @pytest.mark.django_db
    def test_without_a_reading_of_the_rise_there_is_no_range(self):
        made = InstrumentFactory()
        read(made, 2016, None)
        assert next_reading(facts_of(made), ShopProfile(), None) is None

    def dated(self, **dates) -> Outlook:
        usual = {
            "as_of": TODAY, "reset_early": date(2030, 1, 1), "reset_likely": date(2036, 1, 1),
            "reset_late": date(2044, 1, 1),
        }  # fmt: skip
        return Outlook(**usual | dates)

    def test_words(self):
        words = next_reading_words(NextReading(14.1, 11.2, 10.6), self.dated())
        assert words == (
            "One more reading today is expected to narrow the range of the reset date from 14 to 11 "
            "years."
        )
        dry = next_reading_words(NextReading(14.1, 11.2, 9.0), self.dated())
        assert dry.endswith("from 14 to 11 years (taken in a dry month, to 9.0).")

    def test_an_open_end_is_said_to_be_cut(self):
        words = next_reading_words(NextReading(50.0, 41.0, 41.2), self.dated(reset_late=None))
        assert words.endswith("from 50 to 41 years, dates past 60 years counted as 60.")

    def test_what_buys_nothing_is_said_to(self):
        words = next_reading_words(NextReading(5.9, 6.0, 5.9), self.dated())
        assert "hardly narrow it" in words

    @pytest.mark.parametrize(
        ("found", "dates"),
        [
            (None, {}),
            (NextReading(14.0, 11.0, 11.0), {"reset_early": None, "reset_likely": None}),
            (NextReading(14.0, 11.0, 11.0), {"reset_early": date(2020, 1, 1)}),
            (NextReading(0.2, 0.1, 0.1), {}),
            (NextReading(np.nan, np.nan, np.nan), {}),
        ],
    )
    def test_where_there_is_no_range_ahead_nothing_is_said(self, found, dates):
        assert next_reading_words(found, self.dated(**dates)) == ""


def test_the_instruments_page_shows_it_in_the_readers_unit(at_bench, tech, instrument):
    refresh()
    page = at_bench.get(reverse("instrument", args=[instrument.tag])).content.decode()
    assert "What moved the bridge since the first reading" in page
    assert "−0.30 mm" in page
    assert "Rests on 4 readings of the bridge rise over 12 years" in page
    tech.unit = "in"
    tech.save()
    page = at_bench.get(reverse("instrument", args=[instrument.tag])).content.decode()
    assert "−0.012 in" in page
