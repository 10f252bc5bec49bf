"""Logging work: each kind, its limits, its foretold result, and what voiding it takes back."""

from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from instruments.models import JointKind
from measurements.advice.counsel import counsel
from measurements.models import Outlook, Work
from measurements.work.shimming import shim_buttons
from measurements.work.suggestions import option_for
from tests.factories import CheckInFactory, InstrumentFactory

pytestmark = pytest.mark.django_db


def post(client, instrument, kind, **figures):
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), "notes": "", **figures}
    return client.post(reverse("work-add", kwargs={"tag": instrument.tag, "kind": kind}), data)


@pytest.fixture
def tilting():
    instrument = InstrumentFactory(joint__tilting=True)
    CheckInFactory(instrument=instrument)
    return instrument


def test_turns_move_the_tilt_by_the_bolts_arm_and_pitch(at_bench, tilting):
    assert post(at_bench, tilting, "joint", turns="3/4", sense="lower").status_code == 302
    work = Work.objects.get()
    # arcsin(0.75 turn × 1.0 mm / 70 mm): by hand 0.6139°
    assert work.tilt_to_deg == pytest.approx(0.6139, abs=1e-4)
    tilting.joint.refresh_from_db()
    assert tilting.joint.tilt_now_deg == work.tilt_to_deg


def test_turns_lower_the_bridge_rise_that_the_outlook_goes_by(at_bench, tilting):
    post(at_bench, tilting, "joint", turns="3/4", sense="lower")
    outlook = Outlook.objects.get(instrument=tilting)
    # X = 645.2 + 2.5 − 645.2·(1 − 2^(−14/12)) = 289.90; 289.90·sin 0.6139° = 3.106 by hand
    assert outlook.bridge_rise_mm == pytest.approx(0.4 - 3.106, abs=0.002)


def test_voiding_takes_the_turns_back(at_bench, tilting):
    post(at_bench, tilting, "joint", turns="3/4", sense="lower")
    at_bench.post(
        reverse("work-void", kwargs={"uuid": Work.objects.get().uuid}), {"reason": "wrong one"}
    )
    tilting.joint.refresh_from_db()
    assert tilting.joint.tilt_now_deg == pytest.approx(0, abs=1e-12)
    assert Outlook.objects.get(instrument=tilting).bridge_rise_mm == pytest.approx(0.4)


def test_a_german_finds_commas_in_the_boxes_and_may_send_them_as_they_are(at_bench, tilting):
    address = reverse("work-add", kwargs={"tag": tilting.tag, "kind": "relief"})
    german = {"accept-language": "de"}
    boxes = at_bench.get(address, headers=german).context["form"].initial
    assert boxes["relief_to_mm"] == "0,20 mm"  # the middle of the usual window, 0.10 to 0.30 mm
    figures = {name: boxes[name] for name in ("relief_from_mm", "relief_to_mm")}
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), **figures}
    assert at_bench.post(address, data, headers=german).status_code == 302
    assert Work.objects.get().relief_to_mm == pytest.approx(0.2)


def test_what_a_turn_leads_to_is_said_with_commas_to_a_german(at_bench, tilting):
    address = reverse("work-add", kwargs={"tag": tilting.tag, "kind": "joint"})
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), "preview": "1"}
    data |= {"turns": "0,75", "sense": "lower"}
    page = at_bench.post(address, data, headers={"accept-language": "de"}).content.decode()
    # arcsine(0.75 turn × 1.0 mm / 70 mm): by hand 0.6139°
    assert "0,61°" in page
    assert "0.61°" not in page


REACH = "this joint has 2 3/8 turns left to lower the action, 0 to raise it."


@pytest.mark.parametrize(
    ("figures", "message"),
    [
        # 70 mm · sin 2° is 2.443 turns of 1 mm, by hand: 2 3/8 whole eighths; one way, not turned yet.
        ({"turns": "3", "sense": "lower"}, f"from 0.00° to 2.46°; {REACH}"),
        ({"turns": "1/4", "sense": "raise"}, f"from 0.00° to −0.20°; {REACH}"),
        ({"turns": "0", "sense": "lower"}, "Turns 0: there is nothing to log"),
        ({"turns": "0.0001", "sense": "lower"}, "Turns 0.0001: there is nothing to log"),
        ({"turns": "-1", "sense": "lower"}, "Turns −1: give the number without a sign"),
        ({"turns": "45", "sense": "lower"}, f"Turns 45: {REACH}"),
        ({"turns": "", "sense": "lower"}, "Turns is needed"),
        ({"turns": "a lot", "sense": "lower"}, "Turns: "),
        ({"turns": "1/4", "sense": "sideways"}, "Select a valid choice"),
        ({"turns": "99", "sense": "lower"}, f"Turns: “99”: {REACH}"),
    ],
)
def test_turns_that_cannot_be_are_refused(at_bench, tilting, figures, message):
    response = post(at_bench, tilting, "joint", **figures, **{"turns-is-right": figures["turns"]})
    assert response.status_code == 422
    assert message in response.content.decode()
    assert Work.objects.count() == 0


@pytest.mark.parametrize("kind", [JointKind.GLUED, JointKind.BOLTED])
def test_a_joint_without_adjustment_has_no_such_work(at_bench, kind):
    instrument = InstrumentFactory(joint__kind=kind)
    address = reverse("work-add", kwargs={"tag": instrument.tag, "kind": "joint"})
    assert at_bench.get(address).status_code == 404
    assert post(at_bench, instrument, "joint", turns="1/4", sense="lower").status_code == 409
    assert not Work.objects.exists()


def test_a_shim_tilts_the_neck(at_bench):
    instrument = InstrumentFactory(joint__kind=JointKind.SHIMMED, joint__shims_mm=[0.5, 1.0])
    CheckInFactory(instrument=instrument)
    assert post(at_bench, instrument, "joint", shim_to_mm="0.94").status_code == 302
    # Worked value of the wedge formula: 0.939 mm at H 90 is 0.598°.
    assert Work.objects.get().tilt_to_deg == pytest.approx(0.598, abs=0.001)
    instrument.joint.refresh_from_db()
    assert instrument.joint.shim_now_mm == 0.94
    again = post(at_bench, instrument, "joint", shim_to_mm="0.94")
    assert "in place already" in again.content.decode()


@pytest.fixture
def shimmed():
    """A neck 0.5 mm of action too high, with shims of which one brings it near its target."""
    instrument = InstrumentFactory(
        joint__kind=JointKind.SHIMMED, joint__shims_mm=[0.25, 0.5, 1.0, 9.0]
    )
    CheckInFactory(
        instrument=instrument,
        bridge_rise_mm=1.52,
        saddle_treble_mm=1.65,
        actions_mm={
            (1, "bass"): 0.58, (1, "treble"): 0.33, (12, "bass"): 2.9, (12, "treble"): 2.1
        },
    )  # fmt: skip
    return instrument


def test_each_shim_in_stock_says_what_it_leads_to(at_bench, shimmed):
    shown = {button.box: button for button in shim_buttons(counsel(shimmed), "mm", 0.25)}
    assert list(shown) == ["0.25 mm", "0.5 mm", "1 mm", "9 mm"]
    # atan(0.25 / 90) lowers the rise by 289.90 · 0.0027778 = 0.805 mm, the 12th fret by half of it.
    bass, treble = (float(mm) for mm in shown["0.25 mm"].leads_to.split(" / "))
    assert bass == pytest.approx(2.9 - 0.40, abs=0.02)
    assert treble == pytest.approx(2.1 - 0.40, abs=0.02)
    assert [button.box for button in shown.values() if button.advised] == ["0.25 mm"]
    assert [button.box for button in shown.values() if button.barred] == ["9 mm"]


def test_a_shim_that_is_in_place_may_be_taken_out(at_bench, shimmed):
    shimmed.joint.shim_now_mm = 0.5
    shimmed.joint.save()
    labels = [button.label for button in shim_buttons(counsel(shimmed), "in", None)]
    assert labels == ["no shim", "0.010 in", "0.039 in", "0.354 in"]


@pytest.mark.parametrize("htmx", [False, True])
def test_the_button_of_a_shim_fills_the_box_foretells_and_logs_nothing(at_bench, shimmed, htmx):
    address = reverse("work-add", kwargs={"tag": shimmed.tag, "kind": "joint"})
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), "shim_to_mm": "",
            "notes": "half typed", "add": "0.25 mm"}  # fmt: skip
    page = at_bench.post(address, data, headers={"HX-Request": "true"} if htmx else {})
    text = page.content.decode()
    assert page.status_code == 200
    assert 'name="shim_to_mm" value="0.25 mm"' in text
    assert "An estimate: measure again afterwards" in text
    assert ("half typed" in text) is not htmx  # what is not swapped stays on the page
    assert Work.objects.count() == 0


def test_the_advised_shim_stands_in_the_box_from_the_start(at_bench, shimmed):
    option = option_for(counsel(shimmed), "joint")
    assert option.shim_mm is not None
    address = reverse("work-add", kwargs={"tag": shimmed.tag, "kind": "joint"})
    page = at_bench.get(address).content.decode()
    assert f'name="shim_to_mm" value="{option.shim_mm:g} mm"' in page
    assert page.count("(advised)") == 1
    assert "An estimate: measure again afterwards" in page


def test_a_shim_that_no_neck_could_take_is_refused_before_it_is_foretold(at_bench):
    instrument = InstrumentFactory(joint__kind=JointKind.SHIMMED)
    CheckInFactory(instrument=instrument)
    # The wedge formula: atan(9 / 90) is 5.71°.
    words = "A shim of 9.00 mm takes the tilt from 0.00° to 5.7"
    for preview in ({"preview": "1"}, {}):
        response = post(at_bench, instrument, "joint", shim_to_mm="9", **preview)
        page = response.content.decode()
        assert words in page
        assert "Ensure this value" not in page
        assert "An estimate: measure again afterwards" not in page
    assert Work.objects.count() == 0


@pytest.mark.parametrize(
    ("kind", "figures", "stored"),
    [
        (
            "saddle",
            {"saddle_bass_from_mm": "3", "saddle_bass_to_mm": "2.6"},
            {"saddle_bass_to_mm": 2.6},
        ),
        ("relief", {"relief_from_mm": "0.4", "relief_to_mm": "0.2"}, {"relief_to_mm": 0.2}),
        ("nut", {"nut_bass_to_mm": "0.5", "nut_treble_to_mm": "0.4"}, {"nut_treble_to_mm": 0.4}),
        ("reset", {"wedge_mm": "0.95", "saddle_bass_to_mm": "3.2"}, {"wedge_mm": 0.95}),
        ("other", {"notes": "brace reglued", "new_origin": "on"}, {"new_origin": True}),
    ],
)
def test_each_kind_of_work_is_logged(at_bench, kind, figures, stored):
    instrument = InstrumentFactory()
    CheckInFactory(instrument=instrument)
    assert post(at_bench, instrument, kind, **figures).status_code == 302
    work = Work.objects.get()
    assert {name: getattr(work, name) for name in stored} == stored


@pytest.mark.parametrize(
    ("kind", "figures", "message"),
    [
        ("saddle", {}, "give the height after the work"),
        (
            "saddle",
            {"saddle_bass_to_mm": "30"},
            "Bass after 30.00 mm: expected 0.00 mm to 10.00 mm",
        ),
        ("relief", {}, "Relief after is needed"),
        ("nut", {}, "give the action at fret 1"),
        ("reset", {}, "give the wedge or the new saddle"),
        ("other", {"notes": "  "}, "Notes: say what was done"),
    ],
)
def test_work_without_its_figures_is_refused(at_bench, kind, figures, message):
    response = post(at_bench, InstrumentFactory(), kind, **figures)
    assert response.status_code == 422
    assert message in response.content.decode()
    assert Work.objects.count() == 0


def test_an_unknown_kind_is_not_found(at_bench):
    instrument = InstrumentFactory()
    assert (
        at_bench.get(
            reverse("work-add", kwargs={"tag": instrument.tag, "kind": "magic"})
        ).status_code
        == 404
    )


@pytest.mark.parametrize("htmx", [True, False])
def test_the_preview_foretells_and_logs_nothing(at_bench, tilting, htmx):
    address = reverse("work-add", kwargs={"tag": tilting.tag, "kind": "joint"})
    data = {"turns": "1/2", "sense": "lower", "uuid": str(uuid4()), "preview": "1",
            "day": timezone.localdate().isoformat()}  # fmt: skip
    response = at_bench.post(address, data, headers={"HX-Request": "true"} if htmx else {})
    text = response.content.decode()
    assert "An estimate: measure again afterwards" in text
    assert ("<html" in text) is not htmx
    assert Work.objects.count() == 0


def test_the_form_holds_the_recommended_amount_and_its_cautions(at_bench):
    instrument = InstrumentFactory(joint__tilting=True)
    high = {(1, "bass"): 0.55, (1, "treble"): 0.35, (12, "bass"): 3.1, (12, "treble"): 2.3}
    CheckInFactory(instrument=instrument, bridge_rise_mm=1.9, saddle_bass_mm=3.0, saddle_treble_mm=2.2,
                   actions_mm=high)  # fmt: skip
    page = at_bench.get(
        reverse("work-add", kwargs={"tag": instrument.tag, "kind": "joint"})
    ).content.decode()
    assert 'name="turns" value="' in page
    assert "Slacken the strings before" in page


def test_nothing_turned_is_refused_at_once_and_not_asked_about(at_bench, tilting):
    page = post(at_bench, tilting, "joint", turns="0", sense="lower").content.decode()
    assert "Turns 0: there is nothing to log" in page
    assert "turns-is-right" not in page


@pytest.mark.parametrize(
    ("kind", "joint", "stands"),
    [
        ("joint", JointKind.TILTING, True),
        ("joint", JointKind.SHIMMED, False),
        ("reset", JointKind.TILTING, False),
    ],
)
def test_only_turning_an_adjuster_ends_with_a_tightening_movement(at_bench, kind, joint, stands):
    instrument = InstrumentFactory(joint__kind=joint)
    CheckInFactory(instrument=instrument)
    at = {"tag": instrument.tag, "kind": kind}
    page = at_bench.get(reverse("work-add", kwargs=at)).content.decode()
    assert ("Let the last movement be a tightening one" in page) is stands
    sheet = at_bench.get(reverse("reset-sheet", kwargs={"tag": instrument.tag})).content.decode()
    assert "Let the last movement" not in sheet


def test_what_was_just_turned_may_be_turned_back_and_no_further(at_bench, tilting):
    post(at_bench, tilting, "joint", turns="3/4", sense="lower")
    assert post(at_bench, tilting, "joint", turns="1/4", sense="raise").status_code == 302
    response = post(at_bench, tilting, "joint", turns="3/4", sense="raise")
    assert response.status_code == 422
    assert Work.objects.count() == 2


def test_an_overturned_joint_is_advised_to_be_turned_back(at_bench, tilting):
    post(at_bench, tilting, "joint", turns="3/4", sense="lower")
    CheckInFactory(
        instrument=tilting, measured_at=timezone.now(), bridge_rise_mm=-2.7,
        actions_mm={(1, "bass"): 0.55, (1, "treble"): 0.35, (12, "bass"): 0.9, (12, "treble"): 0.4},
    )  # fmt: skip
    advice = counsel(tilting).advice
    assert advice.recommended in ("tilt", "tilt_and_saddle")
    option = next(o for o in advice.options if o.key == advice.recommended)
    assert -0.75 <= option.turns < 0


def test_a_repeated_submit_is_one_piece_of_work(at_bench, tilting):
    data = {"uuid": str(uuid4()), "turns": "1/4", "sense": "lower"}
    post(at_bench, tilting, "joint", **data)
    post(at_bench, tilting, "joint", **data)
    assert Work.objects.count() == 1


def test_the_same_form_with_other_figures_is_not_swallowed(at_bench):
    """Somebody whose first answer was lost may have changed a figure before trying again."""
    instrument = InstrumentFactory()
    CheckInFactory(instrument=instrument)
    address = reverse("work-add", kwargs={"tag": instrument.tag, "kind": "saddle"})
    data = {"uuid": str(uuid4()), "day": timezone.localdate().isoformat(), "notes": ""}
    assert at_bench.post(address, data | {"saddle_bass_to_mm": "2.6"}).status_code == 302
    assert at_bench.post(address, data | {"saddle_bass_to_mm": "2.6"}).status_code == 302
    other = at_bench.post(address, data | {"saddle_bass_to_mm": "2.4"})
    assert other.status_code == 422
    assert "logged before, with other figures" in other.content.decode()
    assert Work.objects.get().saddle_bass_to_mm == 2.6
