"""The side view's picture: where things stand, what the words say, nothing on top of anything."""

import itertools
from types import SimpleNamespace
from xml.etree import ElementTree

import numpy as np
import pytest
from django.template.loader import render_to_string

from geometry.action import Neck
from measurements.drawings.parts import spread, text_width
from measurements.drawings.side_view import (
    NARROW,
    WIDE,
    After,
    Measured,
    after_option,
    after_work,
    readings_now,
    side_view,
    side_views,
)
from measurements.models import SIDES

# First row of the worked table in the project's contract (geometry.md §2): a1 0.50, b 0.4, s 3.0, r 0.20
# give 1.7890, 2.3369 and 2.4775 at frets 7, 12 and 14, and -0.1412 at the nut.
NECK = Neck(645.2, 2.5, 14, 406.4, 18.5, 27.0)
WORKED = {(1, "bass"): 0.50, (7, "bass"): 1.7890, (12, "bass"): 2.3369, (14, "bass"): 2.4775}
NOW = Measured(0.4, 0.20, (3.0, 2.2), {**WORKED, (1, "treble"): 0.35, (12, "treble"): 1.88})
AFTER = After("tilt", -0.6, (3.0, 2.4), {(1, "bass"): 0.5, (12, "bass"): 2.2, (12, "treble"): 1.6})
MANY = Measured(
    6.0,
    0.3,
    (6.0, 5.0),
    {(f, s): 0.3 + 0.3 * f for f in (1, 3, 5, 7, 9, 12, 14, 16) for s in SIDES},
)
SVG = "{http://www.w3.org/2000/svg}"


def points(text):
    return [tuple(map(float, pair.split(","))) for pair in text.split()]


def picture(view, **context):
    return render_to_string("measurements/drawings/_side_view.svg", {"drawing": view, **context})


@pytest.mark.parametrize("width", [NARROW, WIDE])
def test_string_passes_through_the_readings_that_agree_with_it(width):
    view = side_view(NECK, NOW, width=width)
    nut, saddle, _ = points(view.strings[0])
    dots = set(view.dots)
    slope = (saddle[1] - nut[1]) / (saddle[0] - nut[0])
    on_bass = [y - (nut[1] + slope * (x - nut[0])) for x, y in dots]
    assert sum(abs(gap) < 0.2 for gap in on_bass) == len(WORKED)


def test_heights_are_larger_than_lengths_by_the_stated_factor():
    view = side_view(NECK, NOW)
    nut, saddle, _ = points(view.strings[0])
    per_mm = (saddle[0] - nut[0]) / 647.7
    # Worked table: 3.4 mm over the fret plane at the saddle, -0.1412 mm at the nut.
    assert (nut[1] - saddle[1]) / (3.4 + 0.1412) == pytest.approx(view.factor * per_mm, rel=0.01)
    assert view.factor > 1
    assert f"heights ×{view.factor}" in " ".join(text.words for text in view.notes)


def test_twelfth_fret_lies_halfway_along_the_scale():
    view = side_view(NECK, Measured(0.4, None, (3.0, None), {(12, "bass"): 2.34}))
    nut, saddle, _ = points(view.strings[0])
    assert view.set_frets[0].x1 - nut[0] == pytest.approx(
        (saddle[0] - nut[0]) * 322.6 / 647.7, abs=0.2
    )


def test_bridge_rise_mark_spans_fret_plane_to_bridge_top():
    view = side_view(NECK, NOW)
    top = min(y for _, y in points(view.bridge))
    assert (view.rise.y1, view.rise.y2) == (view.fret_plane.y1, top)


@pytest.mark.parametrize("rise_mm", [-2.5, 0.0, 2.1])
def test_a_higher_rise_is_drawn_higher(rise_mm):
    view = side_view(NECK, Measured(rise_mm, None, (3.0, 2.5)))
    drawn = view.fret_plane.y1 - min(y for _, y in points(view.bridge))
    assert np.sign(drawn) == np.sign(rise_mm)


def test_an_option_that_cuts_the_saddle_lowers_the_dashed_string():
    cut = After("lower the saddle", 0.4, (2.4, 1.9))
    view = side_view(NECK, NOW, after=cut)
    for now, after in zip(view.strings, view.after_strings, strict=True):
        assert points(after)[0] == points(now)[0]  # the nut is held
        assert points(after)[1][1] > points(now)[1][1]
    assert [text.words for _, text in view.key] == ["now", "after"]


def test_bridge_is_placed_by_saddle_and_two_actions_where_its_rise_was_not_read():
    told = side_view(NECK, Measured(0.4, 0.2, (3.0, None), WORKED))
    inferred = side_view(NECK, Measured(None, 0.2, (3.0, None), WORKED))
    assert inferred.rise.y2 - inferred.rise.y1 == pytest.approx(
        told.rise.y2 - told.rise.y1, abs=0.3
    )
    assert "bridge rise" not in inferred.words


@pytest.mark.parametrize(
    "now",
    [
        Measured(),
        Measured(None, 0.2, (3.0, 2.2), {(12, "bass"): 2.3}),
        Measured(None, 0.2, (None, None), WORKED),
    ],
)
def test_without_a_place_for_the_bridge_there_is_no_drawing(now):
    assert side_view(NECK, now) is None
    assert side_views(NECK, now) == ()
    assert "No drawing yet" in render_to_string(
        "measurements/drawings/_side_view.html", {"drawings": ()}
    )


def test_a_page_gets_a_narrow_and_a_wide_picture():
    narrow, wide = side_views(NECK, NOW)
    html = render_to_string("measurements/drawings/_side_view.html", {"drawings": (narrow, wide)})
    assert html.count("<svg") == 2
    assert html.index("only-narrow") < html.index("only-wide")
    assert narrow.factor > wide.factor


def boxes(view):
    """Each text's row and extent, by the estimate that the layout itself rests on."""
    for text in (*view.headings, *view.figures):
        width = text_width(text.words)
        left = text.x if text.anchor == "start" else text.x - width / 2
        yield text.y, left, left + width, text.words


@pytest.mark.parametrize("width", [NARROW, WIDE])
@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("now", [NOW, MANY], ids=["usual", "many frets"])
@pytest.mark.parametrize("after", [None, AFTER], ids=["now", "option"])
def test_figures_never_overlap_nor_leave_the_picture(width, unit, now, after):
    view = side_view(NECK, now, after=after, unit=unit, width=width)
    rows = {}
    for y, left, right, words in boxes(view):
        rows.setdefault(y, []).append((left, right, words))
    for row in rows.values():
        row.sort()
        for one, other in itertools.pairwise(row):
            assert one[1] <= other[0] + 0.01, (one, other)
        assert row[0][0] >= 0
        assert row[-1][1] <= width


def test_when_not_all_frets_fit_the_first_and_twelfth_are_kept():
    heads = {text.words for text in side_view(NECK, MANY, width=NARROW, after=AFTER).headings}
    assert {"1", "12"} <= heads
    assert not {"3", "5"} & heads


def test_words_say_what_is_shown_in_the_readers_unit():
    # 3.0 mm and 2.3369 mm over 25.4 mm to the inch (exact by definition since 1959).
    words = side_view(NECK, NOW, unit="in", after=AFTER).words
    assert "bridge rise 0.016 in" in words
    assert "saddle 0.118 in bass" in words
    assert "action at fret 12 0.092 in bass" in words
    assert "After, dashed (tilt): bridge rise −0.024 in" in words
    assert "times larger" in words


def test_spread_keeps_order_and_room():
    centres = spread([10, 12, 90], [20, 20, 20], 0, 100)
    assert centres == [10, 30, 90]
    assert spread([95, 99], [20, 20], 0, 100) == [70, 90]


@pytest.mark.parametrize("alone", [True, False])
def test_picture_is_sound_xml_without_style_and_named(alone):
    view = side_view(NECK, NOW, after=AFTER, name='<b>"K7"</b> & Söhne', pivot_depth_mm=12)
    text = picture(view, alone=alone)
    root = ElementTree.fromstring(text)  # noqa: S314 (our own text)
    assert root.find(f"{SVG}title").text == 'Side view of <b>"K7"</b> & Söhne'
    assert root.find(f"{SVG}desc").text == view.words
    assert root.get("aria-label").endswith(view.words)
    assert "style" not in text
    shown = {"".join(node.itertext()) for node in root.iter(f"{SVG}text")}
    assert {"2.34", "1.88", "3.00", "0.40", "pivot", "joint at fret 14"} <= shown
    assert (root.find(f"{SVG}rect") is not None) == alone


def test_a_deep_pivot_is_left_out_rather_than_drawn_in_the_wrong_place():
    assert side_view(NECK, NOW, pivot_depth_mm=80).pivot is None
    assert side_view(NECK, NOW, pivot_depth_mm=12).pivot is not None


def test_a_later_check_in_is_drawn_with_its_own_nut():
    lower_nut = Measured(0.4, 0.2, (2.6, None), {(1, "bass"): 0.30, (12, "bass"): 2.0})
    after = after_work(NECK, lower_nut, "work done", ("received", "returned"))
    view = side_view(NECK, NOW, after=after)
    (dashed,) = view.after_strings  # the treble saddle was not measured again
    assert points(dashed)[0][1] > points(view.strings[0])[0][1]
    assert [text.words for _, text in view.key] == ["received", "returned"]
    assert {"bass, returned", "treble"} <= {text.words for text in view.headings}
    assert view.words.startswith("Received: bridge rise 0.40 mm")
    assert after_work(NECK, Measured(), "work done", ("received", "returned")) is None


def test_readings_and_options_of_the_advice_can_be_drawn():
    nan = float("nan")
    readings = SimpleNamespace(
        action_1_mm=np.array([0.5, nan]),
        action_12_mm=np.array([2.34, 1.88]),
        saddle_mm=np.array([3.0, nan]),
        bridge_rise_mm=0.4,
        relief_mm=nan,
    )
    now = readings_now(readings)
    assert now.relief_mm is None
    assert now.saddle_mm == (3.0, None)
    assert now.actions_mm == {(1, "bass"): 0.5, (12, "bass"): 2.34, (12, "treble"): 1.88}
    option = SimpleNamespace(
        saddle_after_mm=np.array([2.6, 2.0]),
        bridge_rise_after_mm=0.4,
        set_frets=(1, 12),
        action_after_mm=np.array([[0.48, 0.33], [2.1, nan]]),
    )
    after = after_option(option, "lower the saddle")
    assert after.saddle_mm == (2.6, 2.0)
    assert after.actions_mm == {(1, "bass"): 0.48, (1, "treble"): 0.33, (12, "bass"): 2.1}
    option.bridge_rise_after_mm = nan
    assert after_option(option, "reset") is None
