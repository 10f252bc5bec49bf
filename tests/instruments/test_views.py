"""Finding, adding and editing instruments."""

import pytest
from django.urls import reverse

from instruments.models import Instrument, JointKind
from instruments.tags import check_character
from measurements.forecast.refreshing import refresh
from measurements.models import Outlook
from tests.editing import carried
from tests.factories import CheckInFactory, CustomerFactory, InstrumentFactory

pytestmark = pytest.mark.django_db

JOINT = {
    "joint-kind": "tilting",
    "joint-pivot_depth_mm": "",
    "joint-heel_depth_mm": "",
    "joint-bolt_arm_mm": "2 3/4 in",
    "joint-thread_pitch_mm": "1.0",
    "joint-lowering_turn": "clockwise",
    "joint-tilt_now_deg": "0",
    "joint-tilt_min_deg": "0",
    "joint-tilt_max_deg": "2",
    "joint-one_way": "on",
    "joint-shims_mm": "",
    "joint-shim_now_mm": "0",
}
TYPED = {
    "tag": "B-17",
    "strings": "steel",
    "maker": "Tarnbeck",
    "fret_count": "20",
    "scale_length_mm": "25.4 in",
    "set_frets": "12, 7 1",
    **JOINT,
}


def find(client, text):
    return client.get(reverse("instruments"), {"q": text})


@pytest.mark.parametrize("text", ["tarn", "ORCH", "99-31", "Ann Other", "tarnbeck orchard", "aa1"])
def test_it_is_found_by_tag_maker_model_serial_or_customer(at_counter, text):
    ann = CustomerFactory(name="Ann Other")
    for tag, serial in (("AA-1", "99-314"), ("AA-1-B", "99-315")):
        InstrumentFactory(tag=tag, maker="Tarnbeck", model="Orchard", serial=serial, customer=ann)
    InstrumentFactory(tag="ZZ-9", maker="Quillmere", model="Saltway", serial="1")
    page = find(at_counter, text).content.decode()
    assert "AA-1" in page
    assert "ZZ-9" not in page


def test_the_only_one_found_opens(at_bench):
    InstrumentFactory(tag="ZZ-9", maker="Quillmere", model="Saltway")
    assert find(at_bench, "saltway quill")["Location"] == "/instruments/ZZ-9/"


def test_a_tag_with_a_mistyped_character_is_refused(at_counter):
    wrong = next(letter for letter in "23456789" if letter != check_character("K7M4Q"))
    response = at_counter.post(reverse("instrument-add"), TYPED | {"tag": f"K7M4Q-{wrong}"})
    assert "one of them is mistyped" in response.content.decode()


def test_its_exact_tag_opens_it_whatever_the_case(at_bench):
    InstrumentFactory(tag="K7M4Q-X")
    assert find(at_bench, " k7m4q-x ")["Location"] == "/instruments/K7M4Q-X/"


def test_nothing_found_says_what_to_try(at_bench):
    assert "Check the tag" in find(at_bench, "nothing like it").content.decode()


def test_a_page_beyond_the_last_shows_the_last(at_bench):
    InstrumentFactory.create_batch(3)
    assert at_bench.get(reverse("instruments"), {"page": "999999999999"}).status_code == 200


def test_it_adds_an_instrument_with_its_joint(at_counter):
    response = at_counter.post(reverse("instrument-add"), TYPED)
    assert response.status_code == 302
    instrument = Instrument.objects.get()
    assert instrument.scale_length_mm == pytest.approx(645.16)
    assert instrument.set_frets == [1, 7, 12]
    assert instrument.joint.kind == JointKind.TILTING
    assert instrument.joint.bolt_arm_mm == pytest.approx(69.85)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"tag": ""}, "Tag is needed."),
        ({"tag": "a/b"}, "A tag is 1–32 letters"),
        ({"tag": "x" * 33}, "at most 32 characters"),
        ({"tag": "taken"}, "Another instrument already has this tag"),
        ({"built_year": "3000"}, "Built year 3000: expected 2100 or less."),
        ({"built_year": "1066"}, "Built year 1066: expected 1700 or more."),
        ({"scale_length_mm": "64.5"}, "Scale length 64.50 mm: expected 300.00 mm to 900.00 mm"),
        ({"scale_length_mm": "long"}, "Scale length: "),
        ({"set_frets": "1, twelve"}, "give numbers such as 1, 7, 12, 14"),
        ({"set_frets": "99"}, "each from 1 to 36"),
        ({"set_frets": "9" * 5000}, "each from 1 to 36"),  # more digits than Python reads
        ({"joint-tilt_min_deg": "3"}, "The least tilt must not exceed the most tilt"),
        ({"joint-thread_pitch_mm": "0"}, "Thread pitch of the bolt 0.00 mm: expected"),
        ({"joint-shims_mm": "0.5; thick"}, "Shims in stock: "),
        ({"joint-shims_mm": "0; 20 mm"}, "each thicker than 0"),
        ({"customer": "NOSUCH22"}, "Select a valid choice"),
        ({"maker": ""}, "Give at least a maker, model"),
        ({"fretboard_radius_mm": "16"}, "were inches meant?"),
        ({"joint-tilt_now_deg": "3"}, "lies outside this joint"),
    ],
)
def test_it_explains_bad_input_and_saves_nothing(at_counter, changes, message):
    InstrumentFactory(tag="TAKEN")
    response = at_counter.post(reverse("instrument-add"), TYPED | changes)
    assert response.status_code == 422
    assert message in response.content.decode()
    assert Instrument.objects.count() == 1


def test_editing_shows_and_keeps_the_figures(at_bench):
    instrument = InstrumentFactory(tag="B-17", scale_length_mm=645.2, joint__shims_mm=[0.5, 1.0])
    address = reverse("instrument-edit", kwargs={"tag": "b-17"})
    page = at_bench.get(address).content.decode()
    assert 'value="645.2 mm"' in page
    assert 'value="0.5 mm; 1 mm"' in page
    typed = TYPED | {"scale_length_mm": "645.2 mm"}
    assert at_bench.post(address, carried(at_bench, address) | typed).status_code == 302
    instrument.refresh_from_db()
    assert instrument.scale_length_mm == 645.2


def test_history_keeps_who_changed_what(at_bench, tech):
    InstrumentFactory(tag="B-17")
    address = reverse("instrument-edit", kwargs={"tag": "B-17"})
    at_bench.post(address, carried(at_bench, address) | TYPED | {"maker": "Quillmere"})
    newest = Instrument.history.first()
    assert (newest.maker, newest.history_user) == ("Quillmere", tech)


def test_the_counter_leaves_where_the_joint_stands_to_the_bench(at_counter, at_bench):
    instrument = InstrumentFactory(tag="B-17", joint__tilting=True, joint__tilt_now_deg=0.4)
    address = reverse("instrument-edit", kwargs={"tag": "B-17"})
    moved = TYPED | {"joint-tilt_now_deg": "1.5"}
    assert at_counter.post(address, carried(at_counter, address) | moved).status_code == 302
    instrument.joint.refresh_from_db()
    assert instrument.joint.tilt_now_deg == 0.4
    assert at_bench.post(address, carried(at_bench, address) | moved).status_code == 302
    instrument.joint.refresh_from_db()
    assert instrument.joint.tilt_now_deg == 1.5


def test_editing_refreshes_the_outlook(at_bench):
    instrument = InstrumentFactory(tag="B-17")
    CheckInFactory(instrument=instrument)
    refresh()
    before = Outlook.objects.get().rise_limit_mm
    address = reverse("instrument-edit", kwargs={"tag": "B-17"})
    wanted = {"target_12_bass_mm": "3", "target_12_treble_mm": "2.6"}
    at_bench.post(address, carried(at_bench, address) | TYPED | wanted)
    assert Outlook.objects.get().rise_limit_mm > before + 0.5


@pytest.mark.parametrize(
    "address", ["/instruments/%00/", "/instruments/?q=%00", "/customers/?q=a%00b"]
)
def test_a_nul_in_the_address_does_no_harm(at_bench, address):
    assert at_bench.get(address).status_code in (200, 302, 404)
