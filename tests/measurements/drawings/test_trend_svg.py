"""The still picture of the trend: everything at its place in time and height, in words as well."""

from datetime import date, timedelta
from itertools import combinations
from xml.etree import ElementTree

import pytest
from django.template.loader import render_to_string

from measurements.drawings.parts import text_width
from measurements.drawings.trend_svg import NARROW, WIDE, last_day, trend_picture, trend_pictures
from measurements.forecast.trend import BandPoint, Trend, TrendReading, TrendWork

TODAY = date(2026, 11, 2)
SVG = "{http://www.w3.org/2000/svg}"


def reading(year, mm, held_down=False):
    return TrendReading(date(year, 5, 3), mm + 0.1, mm, held_down)


def band(per_year_mm=0.04, start_mm=0.8, years=40):
    """A straight course, its range opening with time: only the picture is under test."""
    return tuple(
        BandPoint(
            date(2014, 5, 3) + timedelta(days=365 * k),
            start_mm + 0.5 * per_year_mm * k - 0.1,
            start_mm + per_year_mm * k,
            start_mm + 2 * per_year_mm * k + 0.1,
        )
        for k in range(years)
    )


def some_trend(**changes):
    facts = {
        "today": TODAY,
        "readings": (reading(2014, 0.8), reading(2020, 1.1), reading(2025, 1.2)),
        "band": band(),
        "saddle_limit_mm": 1.7,
        "reset_limit_mm": 3.0,
        "works": (TrendWork(date(2020, 5, 3), "Saddle: bass 3.00 mm → 2.60 mm"),),
        "actions": {},
        "saddles": {},
    }
    return Trend(**{**facts, **changes})


def points(text):
    return [tuple(map(float, pair.split(","))) for pair in text.split()]


def test_dots_stand_in_order_of_time_and_height():
    picture = trend_picture(some_trend())
    xs, ys = zip(*picture.dots, strict=True)
    assert list(xs) == sorted(xs)
    assert list(ys) == sorted(ys, reverse=True)  # y runs downwards
    years = (xs[1] - xs[0]) / (xs[2] - xs[0])
    assert years == pytest.approx(6 / 11, abs=0.01)  # 2014, 2020, 2025
    assert picture.dots[1][0] == points(picture.works[0])[0][0]  # work of the same day


def test_heights_follow_the_scale_of_the_axis():
    picture = trend_picture(some_trend())
    marks = {text.words: text.y - 4.0 for text in picture.tick_labels if text.anchor == "end"}
    per_mm = marks["1.0"] - marks["2.0"]
    assert marks["1.0"] - picture.saddle_limit.y1 == pytest.approx(0.7 * per_mm, abs=0.2)
    assert marks["1.0"] - picture.reset_limit.y1 == pytest.approx(2.0 * per_mm, abs=0.2)


def test_band_stays_within_the_picture_even_if_it_rises_out_of_it():
    picture = trend_picture(some_trend(band=band(per_year_mm=1.0)))
    top = picture.today.y1
    assert all(top - 0.1 <= y <= picture.frame.y1 for _, y in points(picture.band))
    assert min(y for _, y in points(picture.band)) == pytest.approx(top, abs=0.1)


def test_picture_ends_soon_after_even_a_slow_lift_has_used_the_room():
    # start 0.7 and 0.02 mm a year: 1.7 mm is reached after 50 years, past the band's end.
    slow = some_trend(reset_limit_mm=1.7)
    assert last_day(slow) == slow.band[-1].day
    # 0.5 × 0.5 mm a year from 0.7: past 1.7 in the fifth year, 2018, but ten years are always shown.
    fast = some_trend(band=band(per_year_mm=0.5), reset_limit_mm=1.7)
    assert last_day(fast) == TODAY + timedelta(days=3653)


def test_one_label_where_the_saddle_is_all_the_room_there_is():
    picture = trend_picture(some_trend(reset_limit_mm=1.7))
    assert [text.words for text in picture.limit_labels] == ["saddle at its floor: reset due"]
    assert picture.reset_limit is None


def test_a_distrusted_reading_is_marked_by_shape():
    picture = trend_picture(some_trend(readings=(reading(2014, 0.8), reading(2020, 1.4, True))))
    assert len(picture.dots) == len(picture.crosses) == 1
    assert "reading that does not fit the rest" in [sign.text.words for sign in picture.signs]


@pytest.mark.parametrize("width", [NARROW, WIDE])
@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("reset_mm", [1.7, 1.75, 1.9, 3.0, 9.0])
def test_labels_never_overlap_nor_leave_the_picture(width, unit, reset_mm):
    picture = trend_picture(some_trend(reset_limit_mm=reset_mm), unit=unit, width=width)
    boxes = []
    texts = [*picture.tick_labels, *picture.limit_labels, picture.heading, picture.today_label]
    for text in [*texts, *(sign.text for sign in picture.signs)]:
        extent = text_width(text.words)
        left = {"start": text.x, "end": text.x - extent}.get(text.anchor, text.x - extent / 2)
        boxes.append((left, text.y - 9.0, left + extent, text.y + 2.0, text.words))
    for box in boxes:
        assert box[0] >= -4.0, box
        assert box[2] <= width, box
    for one, other in combinations(boxes, 2):
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        assert apart, (one, other)


def test_words_say_what_is_shown_in_the_readers_unit():
    words = trend_picture(some_trend(), unit="in").words
    # 25.4 mm to the inch, exact by definition since 1959.
    assert "3 readings" in words
    assert "0.031 in on 3 May 2014, 0.047 in on 3 May 2025" in words
    assert "saddle is at its floor at 0.067 in" in words
    assert "3 May 2020: Saddle" in words


def test_nothing_measured_is_said():
    assert trend_picture(some_trend(readings=())) is None
    assert trend_pictures(some_trend(readings=())) == ()
    assert "No trend yet" in render_to_string("measurements/instrument/_trend.html", {"stills": ()})


def test_readings_alone_are_enough_for_a_picture():
    picture = trend_picture(some_trend(band=(), saddle_limit_mm=None, reset_limit_mm=None))
    assert picture.band == ""
    assert len(picture.dots) == 3


def test_both_widths_for_a_page():
    stills = trend_pictures(some_trend(), name="K7M4-2")
    html = render_to_string("measurements/instrument/_trend.html", {"stills": stills})
    assert stills[0].description == f"Trend of K7M4-2. {stills[0].words}"
    assert html.count("<svg") == 2
    assert html.index("only-narrow") < html.index("only-wide")


def test_picture_is_sound_xml_without_style():
    trend = some_trend(works=(TrendWork(date(2020, 5, 3), '<script>"x"</script> & more'),))
    text = render_to_string(
        "measurements/drawings/_trend.svg",
        {"trend": trend_picture(trend, name="<b>"), "alone": True},
    )
    root = ElementTree.fromstring(text)  # noqa: S314 (our own text)
    assert root.find(f"{SVG}title").text == "Trend of <b>"
    assert '<script>"x"</script> & more' in root.find(f"{SVG}desc").text
    assert "style" not in text
    shown = {"".join(node.itertext()) for node in root.iter(f"{SVG}text")}
    assert {"today", "saddle at its floor", "joint's travel used up: reset due", "2020"} <= shown
