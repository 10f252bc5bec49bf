"""The forecast's own record: no hindsight, a share inside that can be trusted, and its page."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from scipy.stats import norm

from geometry.constants import (
    LIFT_EXPONENTS,
    LIFT_LOG_RATE_SD,
    LIFT_NOISE_MM,
    LIFT_NOISE_SHAPE,
    LIFT_RATE_MM,
    MOISTURE_SLOPE_MM_PER_PCT,
    ORIGIN_RISE_MM,
)
from geometry.lift import LiftPrior, fit_lift, surprise
from measurements.drawings.record_charts import agreement_figure, record_figure
from measurements.facts.arrays import Facts, gather
from measurements.forecast.outlooks import fit_and_surprise
from measurements.forecast.record import EDGE_Z, record
from measurements.forecast.record_words import chance_range, record_words, shares
from measurements.forecast.refreshing import refresh
from measurements.models import WorkKind
from shop.models import ShopProfile
from tests.conftest import signed_in
from tests.factories import CheckInFactory, InstrumentFactory, UserFactory, WorkFactory

TODAY = date(2024, 6, 1)


def shop_of(count: int, readings: int = 7, seed: int = 5) -> Facts:
    """Facts of instruments drawn from the very model that is fitted, under its planning defaults.

    Each has 2 to ``readings`` readings; one in five readings comes without humidity.
    """
    rng = np.random.default_rng(seed)
    rate = LIFT_RATE_MM * np.exp(rng.normal(0.0, LIFT_LOG_RATE_SD, (count, 1)))
    exponent = rng.choice(LIFT_EXPONENTS, (count, 1))
    slope = rng.normal(*MOISTURE_SLOPE_MM_PER_PCT, (count, 1))
    noise = LIFT_NOISE_MM * np.sqrt(
        2 * LIFT_NOISE_SHAPE / rng.chisquare(2 * LIFT_NOISE_SHAPE, (count, 1))
    )
    age = rng.uniform(0.0, 30.0, (count, 1)) + np.cumsum(
        0.2 + rng.exponential(1.0, (count, readings)), axis=1
    )
    moisture = rng.normal(0.0, 1.5, age.shape)
    rise = rng.normal(*ORIGIN_RISE_MM, (count, 1)) + rate * (age / 30.0) ** exponent
    rise += slope * moisture + noise * rng.normal(size=age.shape)
    used = np.arange(readings) < rng.integers(2, readings + 1, count)[:, None]
    moisture[rng.random(age.shape) < 0.2] = np.nan
    return facts_from(age, rise, moisture, used.astype(float))


def facts_from(age, rise, moisture, weight, **more) -> Facts:
    """Facts that hold only what a record rests on."""
    known = {
        "day": np.where(weight > 0, age * 365.2425, np.nan),
        "age_years": np.where(weight > 0, age, 0.0),
        "measured_mm": rise,
        "undone_mm": rise,
        "moisture_offset_pct": moisture,
        "weight": weight,
        "age_sd_years": np.zeros(len(age)),
    }
    return Facts(**dict.fromkeys(Facts.__dataclass_fields__) | known | more)


def some_facts() -> Facts:
    age = np.array([[10.0, 11.0, 12.5, 14.0], [3.0, 3.5, 6.0, 0.0]])
    rise = np.array([[-0.4, -0.35, -0.1, 0.2], [0.1, 0.3, 0.4, np.nan]])
    moisture = np.array([[0.5, -0.8, np.nan, 1.0], [0.1, 0.4, -1.2, np.nan]])
    return facts_from(age, rise, moisture, np.array([[1.0, 1, 1, 1], [1, 1, 1, 0]]))


class TestAgainstTheReadingsBefore:
    def test_each_forecast_is_that_of_a_fit_to_the_earlier_readings_alone(self):
        facts = some_facts()
        found = record(facts)
        assert list(zip(found.row, found.place, strict=True)) == [
            (0, 1), (0, 2), (0, 3), (1, 1), (1, 2),
        ]  # fmt: skip
        assert found.before.tolist() == [1, 2, 3, 1, 2]
        for k, (row, place) in enumerate(zip(found.row, found.place, strict=True)):
            columns = (facts.age_years, facts.undone_mm, facts.moisture_offset_pct, facts.weight)
            alone = fit_lift(*(column[[row], :place] for column in columns))
            z = surprise(alone, *(column[[row], place] for column in columns))
            assert found.z[k] == pytest.approx(z[0], abs=1e-9)

    def test_the_range_is_where_the_surprise_is_that_of_its_ends(self):
        facts = some_facts()
        found = record(facts)
        for ends, score in ((found.low_mm, -EDGE_Z), (found.likely_mm, 0), (found.high_mm, EDGE_Z)):
            for k, (row, place) in enumerate(zip(found.row, found.place, strict=True)):
                columns = (facts.age_years, facts.undone_mm, facts.moisture_offset_pct)
                before = fit_lift(*(c[[row], :place] for c in (*columns, facts.weight)))
                age, _, moisture = (c[[row], place] for c in columns)
                z = surprise(before, age, ends[[k]], moisture)
                # cells that weigh next to nothing are left out of a quantile
                assert norm.cdf(z[0]) == pytest.approx(norm.cdf(score), abs=2e-3)

    def test_later_readings_change_no_earlier_forecast(self):
        facts = some_facts()
        changed = facts.undone_mm.copy()
        changed[:, 2:] += 3.0
        later = record(replace(facts, undone_mm=changed, measured_mm=changed))
        now = record(facts)
        first = now.place == 1
        for name in ("low_mm", "likely_mm", "high_mm", "z"):
            assert getattr(later, name)[first].tolist() == getattr(now, name)[first].tolist()

    def test_one_instrument_is_the_same_alone_and_among_others(self):
        facts = some_facts()
        fields = ("day", "age_years", "measured_mm", "undone_mm", "moisture_offset_pct", "weight")
        one = replace(facts, **{f: getattr(facts, f)[1:] for f in fields}, age_sd_years=np.zeros(1))
        assert record(one).likely_mm == pytest.approx(record(facts).likely_mm[3:], abs=1e-3)

    def test_a_prior_with_a_row_for_each_instrument_follows_its_instrument(self):
        facts = some_facts()
        slow = LiftPrior(log_rate_mean=np.log([0.2, 4.0]), log_rate_sd=0.3)
        found, plain = record(facts, slow), record(facts)
        assert found.likely_mm[0] < plain.likely_mm[0]
        assert found.likely_mm[3] > plain.likely_mm[3]

    def test_a_reading_is_foretold_on_the_joints_setting_of_its_day(self):
        facts = some_facts()
        turned = replace(facts, measured_mm=facts.undone_mm + np.array([0.0, 0.0, -2.0, -2.0]))
        now, before = record(turned), record(facts)
        moved = np.where(now.place >= 2, -2.0, 0.0)
        assert now.low_mm == pytest.approx(before.low_mm + moved, abs=1e-9)
        assert now.measured_mm == pytest.approx(before.measured_mm + moved)
        assert now.z.tolist() == before.z.tolist()

    def test_a_second_reading_of_one_visit_is_not_foretold_but_counts_as_known(self):
        facts = some_facts()
        day = facts.day.copy()
        day[0, 1] = day[0, 0] + 2.0
        found = record(replace(facts, day=day))
        assert found.place[found.row == 0].tolist() == [2, 3]
        assert found.before[found.row == 0].tolist() == [2, 3]

    def test_nothing_to_compare_gives_an_empty_record(self):
        facts = some_facts()
        found = record(replace(facts, weight=facts.weight * [1, 0, 0, 0]))
        assert len(found) == 0
        assert record_words(found) == ""
        assert [share.count for share in shares(found)] == [0, 0, 0, 0, 0]


def test_a_shop_drawn_from_the_model_has_four_readings_in_five_inside():
    found = record(shop_of(260))
    assert len(found) > 700
    # 80 % by the definition of a 10–90 % range; one s.d. of chance is 1.5 % here
    assert 0.75 < found.inside.mean() < 0.85
    for least, most in ((1, 1), (2, 3), (4, None)):
        assert 0.70 < found.inside[found.of_bin(least, most)].mean() < 0.90
    # and the scores are standard normal: means of their halves and tails
    assert abs(found.z.mean()) < 0.15
    assert 0.85 < found.z.std() < 1.15


def test_a_shop_that_rises_faster_than_its_prior_shows_it():
    facts = shop_of(200)
    found = record(facts, LiftPrior(log_rate_mean=np.log(0.1), log_rate_sd=0.1, noise_mm=0.02))
    assert found.inside.mean() < 0.7


class TestWords:
    def test_the_share_is_said_in_one_sentence(self):
        facts = shop_of(1, seed=3)
        found = record(facts)
        inside = int(found.inside.sum())
        assert record_words(found).startswith(f"{inside} of the last {len(found)} readings lay")

    def test_what_chance_allows_is_the_binomials(self):
        # exact 2.5 and 97.5 % points of the binomial with n 100 and p 0.8: 72 and 87 (from
        # scipy.stats.binom.ppf)
        low, high = chance_range(100)
        assert (low, high) == (pytest.approx(0.72, abs=0.01), pytest.approx(0.87, abs=0.01))

    def test_a_share_outside_chance_is_named_and_a_handful_is_not_judged(self):
        found = record(shop_of(200))
        wrong = replace(found, z=np.full(len(found), 5.0))
        rows = shares(wrong)
        assert rows[-1].percent == "0 %"
        assert rows[-1].words == "too narrow"
        assert shares(replace(found, z=np.zeros(len(found))))[-1].words == "wider than needed"
        few = record(some_facts())
        assert shares(few)[-1].words == "too few to say"
        assert sum(share.count for share in rows[:-1]) == rows[-1].count == len(found)


@pytest.fixture
def instrument(db):
    made = InstrumentFactory(joint__tilting=True, built_year=2000)
    for year, rise in ((2008, 0.1), (2012, 0.3), (2016, -1.2), (2020, 0.9)):
        CheckInFactory(
            instrument=made, measured_at=datetime(year, 3, 1, 12, tzinfo=UTC), bridge_rise_mm=rise
        )
    WorkFactory(
        instrument=made, kind=WorkKind.JOINT, done_at=datetime(2014, 1, 1, tzinfo=UTC),
        tilt_from_deg=0.0, tilt_to_deg=0.3, saddle_bass_from_mm=None, saddle_bass_to_mm=None,
    )  # fmt: skip
    refresh()
    return made


def test_the_record_is_what_the_surprise_of_each_day_was(instrument):
    found = record(gather([instrument.pk], TODAY, ShopProfile()))
    assert len(found) == 3
    for k, year in enumerate((2012, 2016, 2020)):
        then = gather([instrument.pk], date(year, 3, 1), ShopProfile())
        # the work of 2014 did not yet weigh on the readings when 2012 was read, and did from 2016 on
        assert found.z[k] == pytest.approx(fit_and_surprise(then, None)[1][0], abs=1e-9)


class TestCharts:
    def test_each_range_is_a_bar_and_readings_outside_are_marked(self, instrument):
        found = record(gather([instrument.pk], TODAY, ShopProfile()))
        figure = record_figure(found, "in")
        traces = {trace["name"]: trace for trace in figure["data"]}
        assert traces["range foretold"]["y"][1] == pytest.approx(found.high_mm[0] / 25.4, abs=1e-4)
        assert traces["measured, outside it"]["x"] == ["2020-03-01"]
        assert traces["measured, outside it"]["y"] == pytest.approx([0.9 / 25.4], abs=1e-4)

    def test_the_shops_axes_are_equal_and_the_diagonal_is_drawn(self, instrument):
        found = record(gather([instrument.pk], TODAY, ShopProfile()))
        figure = agreement_figure(found, ["T<1>"])
        layout = figure["layout"]
        assert layout["yaxis"]["scaleanchor"] == "x"
        assert layout["xaxis"]["range"] == layout["yaxis"]["range"]
        diagonal = figure["data"][0]
        assert diagonal["x"] == diagonal["y"]
        assert figure["config"]["showSendToCloud"] is False
        assert figure["config"]["plotlyServerURL"] == ""


class TestPage:
    def test_it_shows_the_share_and_what_lay_furthest_off(self, at_counter, instrument):
        page = at_counter.get(reverse("record")).content.decode()
        assert "67 %" in page
        assert reverse("instrument", args=[instrument.tag]) in page
        assert "1 Mar 2020" in page
        assert 'id="chart-data"' in page

    def test_an_empty_shop_is_told_what_will_stand_here(self, at_desk):
        page = at_desk.get(reverse("record")).content.decode()
        assert "Nothing to compare yet" in page
        assert "data-chart" not in page

    def test_a_stranger_and_a_person_without_a_role_are_refused(self, client, db):
        assert client.get(reverse("record")).status_code == 302
        assert signed_in(UserFactory(role="")).get(reverse("record")).status_code == 403

    def test_it_says_when_it_is_cut_to_the_newest(self, at_desk, instrument, monkeypatch):
        newer = InstrumentFactory()
        for month in (1, 4):
            CheckInFactory(instrument=newer, measured_at=datetime(2023, month, 1, tzinfo=UTC))
        refresh()
        monkeypatch.setattr("measurements.forecast.record_views.MOST_INSTRUMENTS", 1)
        response = at_desk.get(reverse("record"))
        assert response.context["forecasts"] == 1
        assert "Only the 1 instrument" in response.content.decode()

    def test_the_instruments_page_tells_its_own_record(self, at_bench, instrument):
        page = at_bench.get(reverse("instrument", args=[instrument.tag])).content.decode()
        assert "2 of the last 3 readings lay inside the range foretold for them" in page
        assert 'id="record-data"' in page

    def test_an_instrument_with_one_visit_has_no_record(self, at_bench):
        one = InstrumentFactory()
        start = datetime(2020, 3, 1, tzinfo=UTC)
        for days in (0, 3):
            CheckInFactory(instrument=one, measured_at=start + timedelta(days=days))
        refresh()
        page = at_bench.get(reverse("instrument", args=[one.tag])).content.decode()
        assert "own record" not in page

    def test_the_due_page_leads_to_it(self, at_desk, instrument):
        assert reverse("record") in at_desk.get(reverse("due")).content.decode()

    def test_its_queries_do_not_grow_with_the_shop(self, at_desk, instrument):
        def count() -> int:
            with CaptureQueriesContext(connection) as queries:
                at_desk.get(reverse("record"))
            return len(queries)

        one = count()
        for other in InstrumentFactory.create_batch(3):
            for year in (2015, 2018):
                CheckInFactory(instrument=other, measured_at=datetime(year, 5, 1, tzinfo=UTC))
        refresh()
        assert count() == one
