"""The adjuster's buttons, its travel, and when to stop."""

from datetime import timedelta
from uuid import uuid4

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone

from instruments.models import NeckJoint
from measurements.advice.counsel import counsel
from measurements.models import Work
from measurements.work.suggestions import option_for
from measurements.work.turning import (
    eighths_words,
    take_up_words,
    travel,
    turn_buttons,
    verdict,
    with_added,
)
from tests.factories import CheckInFactory, InstrumentFactory, WorkFactory

pytestmark = pytest.mark.django_db

HIGH = {(1, "bass"): 0.58, (1, "treble"): 0.33}


@pytest.fixture
def turned_up(request):
    """An M6 bolt on a 75 mm arm; fret 12 stands this much over its target on both sides."""
    over = getattr(request, "param", 0.5)
    instrument = InstrumentFactory(joint__tilting=True, joint__bolt_arm_mm=75)
    # Readings that agree: 0.40 mm of rise goes with 2.34 and 1.88; the rest is rise, twice (trade rule 2:1).
    CheckInFactory(
        instrument=instrument,
        measured_at=timezone.now() - timedelta(hours=1),
        bridge_rise_mm=0.40 + 2 * (over + 0.06),
        saddle_treble_mm=1.65,
        actions_mm=HIGH | {(12, "bass"): 2.4 + over, (12, "treble"): 1.6 + over},
    )
    return instrument


def say(instrument, turned=()):
    now = counsel(instrument)
    return verdict(now, option_for(now, "joint"), turned, "mm")


def test_each_button_says_what_its_sum_leads_to(turned_up):
    now = counsel(turned_up)
    shown = {button.add: button.leads_to for button in turn_buttons(now, 0.0, "mm")}
    # Trade figures: one turn of this joint is 1.92 mm at the 12th fret, so an eighth 0.24.
    assert shown["1/8"] == "2.66 / 1.86"
    assert shown["1/4"] == "2.42 / 1.62"
    assert shown["-1/8"] == "only what was just turned"  # one way, and not turned yet


def test_buttons_count_from_what_stands_in_the_box(turned_up):
    now = counsel(turned_up)
    shown = {button.add: button.leads_to for button in turn_buttons(now, 0.25, "mm")}
    assert shown["-1/8"] == "2.66 / 1.86"


@pytest.mark.parametrize(
    ("box", "sense", "add", "after", "sense_after"),
    [
        ("", "lower", "1/8", "1/8", "lower"),
        ("3/8", "lower", "1/4", "5/8", "lower"),
        ("7/8", "lower", "1/4", "1 1/8", "lower"),
        ("1/8", "lower", "-1/4", "1/8", "raise"),
        ("1/8", "raise", "1/8", "", "lower"),
        ("0.3", "lower", "1/8", "0.425", "lower"),
        ("a lot", "lower", "1/8", "a lot", "lower"),
        ("3/8", "lower", "none", "", "lower"),
        ("3/8", "lower", "9e999", "", "lower"),
        ("", "", "1/8", "1/8", "lower"),
    ],
)
def test_a_button_adds_to_the_box(box, sense, add, after, sense_after):
    sent = with_added({"turns": box, "sense": sense, "notes": "kept"}, add)
    assert (sent["turns"], sent["sense"], sent["notes"]) == (after, sense_after, "kept")


def test_buttons_work_without_scripts_and_log_nothing(at_bench, turned_up):
    address = reverse("work-add", kwargs={"tag": turned_up.tag, "kind": "joint"})
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), "turns": "1/8",
            "sense": "lower", "notes": "half typed", "add": "1/8"}  # fmt: skip
    response = at_bench.post(address, data)
    page = response.content.decode()
    assert response.status_code == 200
    assert 'name="turns" value="1/4"' in page
    assert "half typed" in page
    assert data["uuid"] in page
    assert Work.objects.count() == 0


@pytest.mark.parametrize(
    ("turns", "sense", "words"),
    [
        ("1/8", "raise", "<strong>1/8</strong> turn back, to raise the action."),
        ("1/8", "lower", "<strong>1/8</strong> turn."),
        ("", "lower", "<strong>0</strong> turns."),
    ],
)
def test_the_box_says_which_way_it_turns(at_bench, turned_up, turns, sense, words):
    """The buttons say more and back; beside them a bare 1/8 could be either."""
    address = reverse("work-add", kwargs={"tag": turned_up.tag, "kind": "joint"})
    page = at_bench.post(address, {"turns": turns, "sense": sense, "preview": "1"}).content.decode()
    assert words in page


def test_the_mark_for_a_miss_is_explained_only_where_something_misses(at_bench, turned_up):
    address = reverse("work-add", kwargs={"tag": turned_up.tag, "kind": "joint"})
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), "sense": "lower",
            "notes": "", "preview": "1"}  # fmt: skip
    # From the trade figures above: an eighth leaves 2.66 of 2.40 mm wanted, a quarter 2.42.
    for turns, after, misses in (("1/8", "2.66 mm", True), ("1/4", "2.42 mm", False)):
        page = at_bench.post(address, data | {"turns": turns}).content.decode()
        assert after in page
        assert ("▲ misses what is wanted." in page) == misses


@pytest.mark.parametrize("add", ["1/8", "", "x" * 5000, "-99/0"])
def test_a_hostile_button_does_no_harm(at_bench, turned_up, add):
    address = reverse("work-add", kwargs={"tag": turned_up.tag, "kind": "joint"})
    assert at_bench.post(address, {"add": add, "turns": "9" * 400}).status_code == 200
    assert Work.objects.count() == 0


def test_travel_is_told_in_eighths(turned_up):
    joint = turned_up.joint
    # By hand: 75·sin 2° = 2.617 turns of 1 mm; 1 3/8 of them are 1.0505°, and 1.242 are left.
    joint.tilt_now_deg = 1.0505
    shown = travel(joint, [0.5, 0.25], 0.25)
    assert shown.words == "1 3/8 turns of 2 1/2 used; 1 1/8 left."
    assert shown.visit_words == "This visit: 3/4 turn to lower the action, in 2 steps."
    assert shown.trial_words == "With this 1/4 turn: 1 5/8 turns of 2 1/2 used; 7/8 left."
    assert [part.name for part in shown.parts] == ["before", "visit", "trial"]
    assert sum(part.width for part in shown.parts) == pytest.approx(100 * 1.625 / 2.617, abs=0.1)


def test_a_joint_without_travel_has_no_bar(turned_up):
    turned_up.joint.tilt_max_deg = 0.0
    assert travel(turned_up.joint, []) is None


@pytest.mark.parametrize(
    ("turns", "words"),
    [(0.125, "one eighth"), (-0.25, "one quarter"), (1.0, "one turn"), (1.375, "1 3/8 turns")],
)
def test_turns_in_the_trades_words(turns, words):
    assert eighths_words(turns) == words


def test_the_first_step_says_which_way(turned_up):
    found = say(turned_up)
    assert found.key == "turn"
    assert found.title == "One quarter to lower the action"
    assert found.words.startswith("1/4 turn clockwise should bring fret 12 to 2.42 mm bass")


@pytest.mark.parametrize("turned_up", [0.25], indirect=True)
def test_one_eighth_more_or_back_is_seen_from_the_last_turn(turned_up):
    assert say(turned_up, [0.25]).title == "One eighth more"
    assert say(turned_up, [-0.25]).title == "One eighth back"


@pytest.mark.parametrize("turned_up", [0.1], indirect=True)
def test_on_target_is_to_stop(turned_up):
    found = say(turned_up, [0.25])
    assert (found.key, found.title) == ("stop", "On target: stop")


def test_contradicting_readings_stop_the_loop(turned_up):
    CheckInFactory(
        instrument=turned_up, measured_at=timezone.now(), stage="returned", bridge_rise_mm=None,
        saddle_bass_mm=None, saddle_treble_mm=None, relief_mm=None,
        actions_mm={(12, "bass"): 0.29, (12, "treble"): 2.1},
    )  # fmt: skip
    found = say(turned_up, [0.25])
    assert (found.key, found.title) == ("contradiction", "Stop: the readings contradict each other")


def test_nothing_is_suggested_or_praised_under_a_stop(at_bench, turned_up):
    address = reverse("work-add", kwargs={"tag": turned_up.tag, "kind": "joint"})
    assert at_bench.get(address).context["form"]["turns"].value()  # a turn is suggested at first
    now = timezone.now()
    WorkFactory(
        instrument=turned_up, kind="joint", done_at=now - timedelta(minutes=20), turns=0.125,
        tilt_from_deg=0.0, tilt_to_deg=0.0955, saddle_bass_from_mm=None, saddle_bass_to_mm=None,
    )  # fmt: skip
    before = counsel(turned_up).readings
    CheckInFactory(
        instrument=turned_up, measured_at=now - timedelta(minutes=10), stage="returned",
        bridge_rise_mm=float(before.bridge_rise_mm), saddle_bass_mm=4.5, saddle_treble_mm=1.65,
        actions_mm={(12, "bass"): float(before.action_12_mm[0])},
    )  # fmt: skip
    page = at_bench.get(address)
    assert page.context["verdict"].key == "contradiction"
    assert page.context["last_step"] is not None
    assert not page.context["form"]["turns"].value()
    assert "✓ As foretold" not in page.content.decode()
    assert ">as foretold" not in page.content.decode()
    for kind, box in (("relief", "relief_to_mm"), ("nut", "nut_bass_to_mm"),
                      ("saddle", "saddle_bass_to_mm")):  # fmt: skip
        other = at_bench.get(reverse("work-add", kwargs={"tag": turned_up.tag, "kind": kind}))
        assert not other.context["form"][box].value(), kind


def test_no_turn_is_told_before_the_last_one_was_measured(at_bench, turned_up):
    address = reverse("work-add", kwargs={"tag": turned_up.tag, "kind": "joint"})
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), "turns": "1/8",
            "sense": "lower", "notes": ""}  # fmt: skip
    page = at_bench.post(address, data, follow=True).content.decode()
    assert say(turned_up, [0.125]).title == "Measure again"
    assert page.index("Measure again</h2>") < page.index("The step after that")


def test_a_move_back_ends_on_the_pulling_side():
    words = take_up_words(-0.125, "clockwise")
    assert "go past it, 1/4 turn anticlockwise, then come up again 1/8 turn clockwise" in words
    assert take_up_words(0.125, "clockwise") == ""


def test_too_much_is_taken_back_by_what_the_gauge_says(at_bench, turned_up):
    address = reverse("work-add", kwargs={"tag": turned_up.tag, "kind": "joint"})
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), "turns": "1/2",
            "sense": "lower", "notes": ""}  # fmt: skip
    at_bench.post(address, data)
    at_bench.post(
        reverse("work-measure", kwargs={"tag": turned_up.tag, "kind": "joint"}),
        {"again-uuid": str(uuid4()), "again-action_12_bass_mm": "1.94",
         "again-action_12_treble_mm": "1.14", "again-bridge_rise_mm": "-0.39"},
    )  # fmt: skip
    found = say(turned_up, [0.5])
    assert found.title == "One quarter back"
    assert "taken up" in found.take_up
    page = at_bench.get(address).content.decode()
    assert "come up again" in page
    after = option_for(counsel(turned_up), "joint").action_12_after_mm
    assert np.abs(after - [2.4, 1.6]).max() < 0.15


@pytest.mark.parametrize("kind", ["glued", "shimmed"])
def test_a_form_that_the_joint_no_longer_has_is_not_lost(at_bench, turned_up, kind):
    address = reverse("work-add", kwargs={"tag": turned_up.tag, "kind": "joint"})
    NeckJoint.objects.filter(instrument=turned_up).update(kind=kind)
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), "turns": "3/8",
            "sense": "lower", "notes": "the bolt was stiff"}  # fmt: skip
    response = at_bench.post(address, data)
    page = response.content.decode()
    assert response.status_code == 409
    assert "somebody changed the kind of neck joint" in page
    assert "3/8" in page
    assert "the bolt was stiff" in page
    assert ("So as to", "lower the action") in response.context["typed"]
    assert Work.objects.count() == 0
