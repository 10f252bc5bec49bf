"""Figures written down as data, checked by the library whose script draws them."""

import json
from datetime import date

import plotly.graph_objects as go
import pytest
from django.utils.formats import date_format
from plotly.subplots import make_subplots

from geometry.units import MM_PER_INCH
from measurements.drawings.charts import GAP, HEIGHTS, trend_figure
from measurements.drawings.figures import (
    CONFIG,
    day_format,
    figure,
    rows_on_one_time_axis,
    scatter,
)
from measurements.drawings.record_charts import agreement_figure, record_figure
from measurements.forecast.record import record
from measurements.forecast.trend import BandPoint, Trend, TrendReading, TrendWork
from shop.languages import written_in
from tests.measurements.forecast.test_record import shop_of

DAY = date(2024, 6, 1)


def some_trend() -> Trend:
    return Trend(
        today=DAY,
        readings=(TrendReading(DAY, 1.0, 1.1, False), TrendReading(DAY, 1.2, 1.3, True)),
        band=(BandPoint(DAY, 0.9, 1.0, 1.2), BandPoint(date(2030, 1, 1), 1.0, 1.4, 2.2)),
        saddle_limit_mm=2.0,
        reset_limit_mm=2.1,
        works=(TrendWork(DAY, "Saddle lowered"),),
        actions={"bass": ((DAY, 2.4),), "treble": ()},
        saddles={"bass": ((DAY, 3.1),), "treble": ((DAY, 2.2),)},
    )


def figures() -> dict[str, dict]:
    found, tags = record(shop_of(3)), ["B1", "B2", "B3"]
    return {
        "trend": trend_figure(some_trend()),
        "trend in inches": trend_figure(some_trend(), "in"),
        "record": record_figure(found, "in"),
        "agreement": agreement_figure(found, tags),
    }


@pytest.mark.parametrize("name", ["trend", "trend in inches", "record", "agreement"])
def test_the_library_knows_every_property_and_value(name):
    made = figures()[name]
    checked = go.Figure(data=made["data"], layout=made["layout"])  # ValueError for a wrong one
    again = json.loads(checked.to_json())
    assert again["data"] == made["data"]
    assert again["layout"] == made["layout"]
    assert made["config"].items() >= CONFIG.items()


@pytest.mark.parametrize("language", ["en-gb", "de"])
@pytest.mark.parametrize("month", range(1, 13))
def test_the_script_writes_days_as_the_page_does(language, month):
    day = date(2026, month, 4)
    with written_in(language):
        config = figure([], {})["config"]
        words = config["locales"][config["locale"]]["format"]
        # d3-time-format, from memory: %-d without padding, %b the short month, %Y the year.
        parts = {"%-d": "4", "%b": words["shortMonths"][month - 1], "%Y": "2026"}
        written = day_format()
        for sign, part in parts.items():
            written = written.replace(sign, part)
        assert written == date_format(day, "SHORT_DATE_FORMAT")
        assert words["months"][month - 1] == date_format(day, "F")
        assert json.loads(json.dumps(config)) == config


def test_the_script_writes_figures_and_weekdays_as_the_language_does():
    with written_in("de"):
        words = figure([], {})["config"]["locales"]["de"]["format"]
    assert (words["decimal"], words["days"][0], words["days"][6]) == (",", "Sonntag", "Samstag")
    assert (words["dayMonth"], words["dayMonthYear"]) == ("%-d. %b", "%-d. %b %Y")
    with written_in("en-gb"):
        words = figure([], {})["config"]["locales"]["en-gb"]["format"]
    assert (words["decimal"], words["thousands"], words["days"][0]) == (".", ",", "Sunday")


def test_a_wrong_property_would_be_noticed():
    with pytest.raises(ValueError, match="colour"):
        go.Figure(data=[scatter([1.0], [2.0], line={"colour": "red"})])


def test_rows_stand_where_the_library_would_put_them():
    theirs = make_subplots(
        rows=3, cols=1, shared_xaxes=True, vertical_spacing=GAP, row_heights=list(HEIGHTS)
    )
    layout = json.loads(theirs.to_json())["layout"]
    for name, axis in rows_on_one_time_axis(HEIGHTS, GAP).items():
        assert axis["domain"] == pytest.approx(layout[name]["domain"]), name
        assert {k: v for k, v in axis.items() if k != "domain"} == {
            k: v for k, v in layout[name].items() if k != "domain"
        }


def test_the_theme_is_the_librarys_own_none():
    theirs = json.loads(go.Figure().update_layout(template="none").to_json())
    assert figure([], {})["layout"]["template"] == theirs["layout"]["template"]


def test_what_is_no_number_is_left_open():
    trace = scatter([DAY, None], [float("nan"), float("inf")])
    assert (trace["x"], trace["y"]) == (["2024-06-01", None], [None, None])


def test_marks_of_work_stand_in_the_readers_unit():
    marks = {
        unit: next(t for t in trend_figure(some_trend(), unit)["data"] if t["name"] == "work done")
        for unit in ("mm", "in")
    }
    assert marks["mm"]["y"] == [0.9]
    assert marks["in"]["y"] == pytest.approx([0.9 / MM_PER_INCH])
