"""Each step of work: what was foretold, what was measured after it, and where that leaves a visit."""

from datetime import timedelta
from math import sqrt
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from measurements.models import CheckIn, Stage, Work
from measurements.plan.board_views import waiting
from measurements.reports.content import visit
from measurements.work.steps import step_of
from measurements.work.visit import AFTER_WORK, next_stage
from tests.factories import CheckInFactory, InstrumentFactory, WorkFactory

pytestmark = pytest.mark.django_db


def address(instrument, kind, name="work-add"):
    return reverse(name, kwargs={"tag": instrument.tag, "kind": kind})


def log(client, instrument, kind, **figures):
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), "notes": "", **figures}
    return client.post(address(instrument, kind), data, follow=True)


def measure(client, instrument, kind, **figures):
    data = {"again-uuid": str(uuid4())} | {f"again-{name}": text for name, text in figures.items()}
    return client.post(address(instrument, kind, "work-measure"), data, follow=True)


@pytest.fixture
def received():
    """On the bench since an hour ago: an M6 bolt on an arm of 70 mm, a 14-fret neck."""
    instrument = InstrumentFactory(joint__tilting=True)
    CheckInFactory(instrument=instrument, measured_at=timezone.now() - timedelta(hours=1))
    return instrument


AS_FORETOLD = {
    "action_12_bass_mm": "1.82",
    "action_12_treble_mm": "1.36",
    "bridge_rise_mm": "-0.64",
}


def test_a_step_is_held_against_what_was_foretold(at_bench, received):
    log(at_bench, received, "joint", turns="1/4", sense="lower")
    page = measure(at_bench, received, "joint", **AS_FORETOLD).content.decode()
    step = step_of(Work.objects.get())
    lines = {line.place: line for line in step.lines}
    assert set(lines) == {"fret 12, bass", "fret 12, treble", "bridge rise"}
    # By hand: sin δ = 0.25 mm / 70 mm, X = 289.904: the rise falls by 1.0354; fret 12 lies at
    # 322.6 of 647.7 mm, so that its action falls by 0.498 of it (similar triangles).
    assert lines["bridge rise"].predicted_mm == pytest.approx(0.40 - 1.0354, abs=0.001)
    assert lines["fret 12, bass"].before_mm == pytest.approx(2.34)
    assert lines["fret 12, bass"].predicted_mm == pytest.approx(2.34 - 0.5157, abs=0.001)
    # GUM (JCGM 100:2008) 5.1: two readings of s.d. 0.10 and a tenth of the change, a joint's prior.
    expected = sqrt(2 * 0.10**2 + (0.10 * 0.5157) ** 2)
    assert lines["fret 12, bass"].u_mm == pytest.approx(expected, rel=1e-3)
    assert all(line.agrees for line in step.lines)
    assert "As foretold" in page
    assert "What the last step did" in page


def test_what_went_another_way_is_said(at_bench, received):
    log(at_bench, received, "joint", turns="1/4", sense="lower")
    page = measure(
        at_bench, received, "joint", **AS_FORETOLD | {"action_12_bass_mm": "2.3"}
    ).content.decode()
    (line,) = step_of(Work.objects.get()).surprises
    assert (line.place, line.verdict) == ("fret 12, bass", "higher than foretold")
    assert "Not quite as foretold" in page
    assert "0.48 mm higher" in page


def test_one_turn_is_told_by_drawing_gauge_and_log(at_bench):
    instrument = InstrumentFactory(joint__tilting=True, joint__bolt_arm_mm=75)
    CheckInFactory(
        instrument=instrument, measured_at=timezone.now() - timedelta(hours=1), bridge_rise_mm=2.0
    )
    log(at_bench, instrument, "joint", turns="1", sense="lower")
    measure(at_bench, instrument, "joint", bridge_rise_mm="-2.4")
    turn = step_of(Work.objects.get()).per_turn
    # Trade figures: M6 × 1.0 on a 75 mm arm of a 14-fret neck moves the saddle by 3.83 mm in a turn
    # (with a pivot in the fret plane and another scale: hence the tolerance).
    assert turn.drawn_mm == pytest.approx(-3.83, abs=0.06)
    assert turn.measured_mm == pytest.approx(-4.4)
    assert turn.measured_mm < turn.learnt_mm < turn.drawn_mm


def test_steps_before_one_reading_are_judged_together(at_bench, received):
    log(at_bench, received, "joint", turns="1/8", sense="lower")
    log(at_bench, received, "joint", turns="1/8", sense="lower")
    page = measure(at_bench, received, "joint", **AS_FORETOLD).content.decode()
    first, second = (step_of(work) for work in Work.objects.order_by("done_at"))
    assert first.works == second.works
    assert len(first.works) == 2
    assert [repr(line) for line in first.lines] == [repr(line) for line in second.lines]
    assert "only their sum is known" in page


@pytest.mark.parametrize(
    ("kind", "logged", "read", "place", "foretold"),
    [
        # The saddle moves the 12th fret by half (Acoustic Guitar magazine, 2013): 0.4 → 0.2 mm.
        ("saddle", {"saddle_bass_to_mm": "2.6"}, {"action_12_bass_mm": "2.1"}, "fret 12, bass", 2.14),
        # geometry.md §2, derived: 1.5 of action at 12 for each of relief; 2·(1.5 − 0.39) of rise.
        ("relief", {"relief_to_mm": "0.1"}, {"action_12_bass_mm": "2.2"}, "fret 12, bass", 2.19),
        ("relief", {"relief_to_mm": "0.1"}, {"bridge_rise_mm": "0.2"}, "bridge rise", 0.178),
        ("nut", {"nut_bass_to_mm": "0.4"}, {"action_1_bass_mm": "0.4"}, "fret 1, bass", 0.40),
    ],
)  # fmt: skip
def test_every_kind_of_work_is_judged_alike(at_bench, kind, logged, read, place, foretold):
    instrument = InstrumentFactory()
    CheckInFactory(instrument=instrument, measured_at=timezone.now() - timedelta(hours=1))
    log(at_bench, instrument, kind, **logged)
    measure(at_bench, instrument, kind, **read)
    work = Work.objects.get()
    (line,) = step_of(work).lines
    assert line.place == place
    assert line.predicted_mm == pytest.approx(foretold, abs=0.012)
    page = at_bench.get(reverse("work", kwargs={"uuid": work.uuid})).content.decode()
    assert "What it came to" in page
    assert line.verdict in page


def test_work_that_nobody_measured_says_so(at_bench, received):
    log(at_bench, received, "joint", turns="1/4", sense="lower")
    work = Work.objects.get()
    assert step_of(work) is None
    page = at_bench.get(reverse("work", kwargs={"uuid": work.uuid})).content.decode()
    assert "Nothing has been measured since" in page


def test_a_reading_between_steps_leaves_the_visit_as_it_is(at_bench, received):
    log(at_bench, received, "joint", turns="1/4", sense="lower")
    measure(at_bench, received, "joint", **AS_FORETOLD)
    step = CheckIn.objects.last()
    assert step.stage == Stage.RETURNED
    assert step.as_typed[AFTER_WORK] == str(Work.objects.get().uuid)
    assert step.as_typed["bridge_rise_mm"] == "-0.64"
    assert received in waiting()
    assert next_stage(received) == Stage.RETURNED
    final = CheckInFactory(
        instrument=received, measured_at=timezone.now() + timedelta(minutes=9), stage="returned"
    )
    first, last = visit(received)
    assert (first.stage, last) == (Stage.RECEIVED, final)
    assert received not in waiting()
    assert next_stage(received) == Stage.RECEIVED


def test_a_reading_before_any_work_is_one_as_received(at_bench):
    instrument = InstrumentFactory(joint__tilting=True)
    measure(at_bench, instrument, "joint", bridge_rise_mm="0.4")
    check_in = CheckIn.objects.get()
    assert check_in.stage == Stage.RECEIVED
    assert AFTER_WORK not in check_in.as_typed


def test_work_of_another_year_is_no_step_of_this_visit(at_bench, received):
    WorkFactory(instrument=received)
    assert next_stage(received) == Stage.RECEIVED
    page = at_bench.get(address(received, "saddle")).content.decode()
    assert "What the last step did" not in page


def test_the_same_readings_sent_twice_are_one_check_in(at_bench, received):
    log(at_bench, received, "joint", turns="1/4", sense="lower")
    data = {"again-uuid": str(uuid4()), "again-bridge_rise_mm": "-0.64"}
    for _ in range(2):
        response = at_bench.post(address(received, "joint", "work-measure"), data)
        assert response.status_code == 302
    assert received.check_ins.count() == 2


@pytest.mark.parametrize(
    ("figures", "named"),
    [
        ({"bridge_rise_mm": "-0.6"}, "Bridge rise"),
        ({"bridge_rise_mm": "-0.64", "action_12_bass_mm": "1.82"}, "Action at 12, bass"),
    ],
)
def test_readings_changed_after_they_were_saved_are_not_taken_for_a_repeat(
    at_bench, received, figures, named
):
    number = {"again-uuid": str(uuid4())}
    where = address(received, "joint", "work-measure")
    at_bench.post(where, number | {"again-bridge_rise_mm": "-0.64"})
    typed = {f"again-{name}": text for name, text in figures.items()}
    refused = at_bench.post(where, number | typed)
    assert refused.status_code == 422
    assert f"differs in: {named}." in refused.text
    assert all(f'value="{text}"' in refused.text for text in typed.values())
    assert received.check_ins.count() == 2


def test_the_note_of_a_step_is_in_the_shops_language(at_bench, tech, received):
    tech.language = "de"
    tech.save()
    log(at_bench, received, "saddle", saddle_bass_to_mm="2.8")
    measure(at_bench, received, "saddle", saddle_bass_mm="2.8")
    assert received.check_ins.get(stage=Stage.RETURNED).notes == "Measured between steps."


@pytest.mark.parametrize(
    ("figures", "message"),
    [
        ({}, "Nothing measured yet"),
        ({"bridge_rise_mm": "99"}, "Bridge rise 99.00 mm: expected"),
        ({"action_12_bass_mm": "<b>"}, "Action at 12, bass: "),
        ({"action_12_bass_mm": "0.2"}, "is unusual"),
    ],
)
def test_readings_that_cannot_be_are_refused_and_kept(at_bench, received, figures, message):
    response = measure(at_bench, received, "joint", **figures)
    page = response.content.decode()
    assert response.status_code == 422
    assert message in page
    assert "<b>" not in page.replace("<b></b>", "")
    assert received.check_ins.count() == 1


def test_a_log_sent_twice_at_the_end_of_the_travel_is_one_piece_of_work(at_bench, received):
    # 70·sin 2° = 2.44 turns in all: the same 1 1/2 once more would lie beyond.
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), "turns": "1 1/2",
            "sense": "lower", "notes": ""}  # fmt: skip
    for _ in range(2):
        assert at_bench.post(address(received, "joint"), data).status_code == 302
    assert Work.objects.count() == 1


def test_strings_that_should_lie_below_a_fret_lie_on_it(at_bench, received):
    # 2 turns lower fret 12 by some 4 mm, from 2.34: an overturned neck is still shown, and taken back.
    log(at_bench, received, "joint", turns="2", sense="lower")
    for page in (address(received, "joint"), reverse("instrument", kwargs={"tag": received.tag})):
        assert at_bench.get(page).status_code == 200
    assert log(at_bench, received, "joint", turns="2", sense="raise").status_code == 200
    assert Work.objects.count() == 2


@pytest.mark.parametrize("kind", ["reset", "other", "nonsense"])
def test_only_quick_steps_have_quick_readings(at_bench, received, kind):
    assert at_bench.post(address(received, kind, "work-measure")).status_code == 404
