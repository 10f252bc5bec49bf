"""The trend's figure: what it shows, and that nothing in it breaks the content policy or leaves the shop."""

import json
from datetime import UTC, date, datetime

import pytest

from measurements.advice.counsel import counsel
from measurements.drawings.charts import shows_reset_limit, trend_figure
from measurements.forecast.trend import trend
from tests.factories import CheckInFactory, InstrumentFactory, WorkFactory

pytestmark = pytest.mark.django_db
TODAY = date(2024, 6, 1)


@pytest.fixture
def instrument():
    made = InstrumentFactory(joint__tilting=True, built_year=2000)
    for year, rise in ((2006, 0.1), (2012, 0.4), (2018, 0.6)):
        CheckInFactory(
            instrument=made, measured_at=datetime(year, 3, 1, 12, tzinfo=UTC), bridge_rise_mm=rise
        )
    WorkFactory(instrument=made, done_at=datetime(2013, 1, 1, tzinfo=UTC), notes="<b>bold</b>")
    return made


def test_it_shows_readings_band_limits_and_work(instrument):
    figure = trend_figure(trend(counsel(instrument, as_of=TODAY)))
    names = [trace.get("name") for trace in figure["data"]]
    assert {"likely range", "likely", "reading, corrected", "work done", "bass", "treble"} <= set(
        names
    )
    readings = figure["data"][names.index("reading, corrected")]
    assert readings["x"] == ["2006-03-01", "2012-03-01", "2018-03-01"]
    assert readings["y"] == pytest.approx([0.1, 0.4, 0.6])  # at the reference climate: as read
    words = [note["text"] for note in figure["layout"]["annotations"]]
    assert "saddle at its floor" in words


def test_it_speaks_the_readers_unit(instrument):
    figure = trend_figure(trend(counsel(instrument, as_of=TODAY), "in"), "in")
    assert figure["layout"]["yaxis"]["title"]["text"] == "Bridge rise, in"
    names = [trace.get("name") for trace in figure["data"]]
    assert figure["data"][names.index("reading, corrected")]["y"][1] == pytest.approx(0.4 / 25.4)


def test_it_offers_nothing_that_leaves_the_shop_and_no_markup(instrument):
    figure = trend_figure(trend(counsel(instrument, as_of=TODAY)))
    assert figure["config"]["showSendToCloud"] is False
    assert figure["config"]["plotlyServerURL"] == ""
    text = json.dumps({"data": figure["data"], "layout": figure["layout"]}).replace(
        "<extra></extra>", ""
    )
    assert "<" not in text


def test_the_joints_limit_is_drawn_only_where_it_does_not_flatten_the_rest(instrument):
    movement = trend(counsel(instrument, as_of=TODAY))
    assert movement.reset_limit_mm - movement.saddle_limit_mm > 9
    assert not shows_reset_limit(movement)
    glued = InstrumentFactory()
    CheckInFactory(instrument=glued, measured_at=datetime(2020, 1, 1, tzinfo=UTC))
    assert shows_reset_limit(trend(counsel(glued, as_of=TODAY)))


def test_a_tilt_is_taken_out_of_the_past(instrument):
    from measurements.models import WorkKind

    WorkFactory(
        instrument=instrument, kind=WorkKind.JOINT, done_at=datetime(2019, 1, 1, tzinfo=UTC),
        tilt_from_deg=0.0, tilt_to_deg=0.6, saddle_bass_from_mm=None, saddle_bass_to_mm=None,
    )  # fmt: skip
    movement = trend(counsel(instrument, as_of=TODAY))
    # 0.6° on 289.9 mm lowers about 3.04 mm: past readings are shown on today's setting
    assert [r.lasting_mm for r in movement.readings] == pytest.approx(
        [-2.94, -2.64, -2.44], abs=0.01
    )
    assert [r.measured_mm for r in movement.readings] == [0.1, 0.4, 0.6]


def test_without_a_bridge_rise_there_is_no_trend():
    instrument = InstrumentFactory()
    CheckInFactory(instrument=instrument, bridge_rise_mm=None)
    assert trend(counsel(instrument)).readings == ()
