"""Damage that an instrument came with: where and what, with a photo or without, struck out but never lost."""

from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from measurements.acts import void
from measurements.models import Damage, Stage
from measurements.photos import acts
from measurements.photos.acts import note_damage
from tests.factories import CheckInFactory, DamageFactory, PhotoFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def check_in():
    return CheckInFactory()


def address(check_in, name: str = "damage-note") -> str:
    return reverse(name, kwargs={"uuid": check_in.uuid})


def typed(**changes) -> dict[str, str]:
    return {"uuid": str(uuid4()), "place": "top", "words": "crack, 40 mm", "photo": ""} | changes


def test_it_is_noted_with_who_and_with_a_photo(check_in, at_bench, tech):
    photo = PhotoFactory(check_in=check_in)
    answer = at_bench.post(address(check_in), typed(photo=str(photo.pk)), follow=True)
    assert answer.redirect_chain == [(address(check_in, "photos"), 302)]
    assert "Noted: top: crack, 40 mm." in answer.content.decode()
    damage = Damage.objects.get()
    assert (damage.place, damage.words, damage.photo) == ("top", "crack, 40 mm", photo)
    assert damage.noted_by == tech


def test_several_are_noted_and_each_role_reads_them(check_in, at_bench, at_counter):
    for place in ("top", "heel"):
        at_bench.post(address(check_in), typed(place=place))
    page = at_counter.get(address(check_in, "check-in")).content.decode()
    assert "<bdi>top</bdi></strong>: <bdi>crack, 40 mm</bdi>" in page
    assert "<bdi>heel</bdi></strong>: <bdi>crack, 40 mm</bdi>" in page
    assert "Damage it came with" in page


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"place": ""}, "Where is needed."),
        ({"words": "  \n "}, "What is damaged is needed."),
        ({"place": "p" * 81}, "at most 80 characters (it has 81)"),
        ({"words": "w" * 401}, "at most 400 characters (it has 401)"),
        ({"photo": "999999"}, "Select a valid choice"),
        ({"photo": "top"}, "Select a valid choice"),
        ({"place": "to\0p"}, "Null characters are not allowed."),
    ],
)
def test_what_is_missing_or_wrong_is_said_and_the_rest_kept(check_in, at_bench, changes, words):
    answer = at_bench.post(address(check_in), typed(**changes))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    assert "all you typed is kept" in page
    kept = "crack, 40 mm" if "words" not in changes else 'value="top"'
    assert kept in page
    assert not Damage.objects.exists()


def test_another_check_ins_photo_or_a_voided_one_is_no_choice(check_in, at_bench, tech):
    strange, voided = PhotoFactory(), PhotoFactory(check_in=check_in)
    void(voided, by=tech, reason="blurred")
    for photo in (strange, voided):
        assert at_bench.post(address(check_in), typed(photo=str(photo.pk))).status_code == 422
        with pytest.raises(ValidationError, match="not one of the check-in's"):
            note_damage(check_in=check_in, place="top", words="crack", by=tech, photo=photo)


def test_the_same_form_sent_twice_notes_it_once(check_in, at_bench):
    sent = typed()
    for _ in range(2):
        assert at_bench.post(address(check_in), sent).status_code == 302
    assert Damage.objects.count() == 1
    other = CheckInFactory(instrument=check_in.instrument)
    assert at_bench.post(address(other), sent).status_code == 422


def test_a_form_gone_back_to_and_changed_notes_another_damage_once(check_in, at_bench):
    first = typed()
    other = first | {"words": "  a dent,\n3 mm "}
    for sent in (first, other, other, first):
        assert at_bench.post(address(check_in), sent).status_code == 302
    assert [damage.words for damage in Damage.objects.all()] == [first["words"], "a dent, 3 mm"]


def test_damage_belongs_to_the_instrument_as_received(check_in, at_bench, tech):
    returned = CheckInFactory(instrument=check_in.instrument, stage=Stage.RETURNED)
    page = at_bench.get(address(returned, "photos")).content.decode()
    assert "Note damage</button>" not in page
    assert f'href="{address(check_in, "photos")}">Note it at the check-in of' in page
    answer = at_bench.post(address(returned), typed())
    assert answer.status_code == 422
    with pytest.raises(ValidationError, match="this check-in is as returned"):
        note_damage(check_in=returned, place="top", words="crack", by=tech)


def test_words_are_only_words(check_in, at_bench):
    at_bench.post(address(check_in), typed(place="<b>top</b>", words='"><script>alert(1)</script>'))
    for name in ("photos", "check-in"):
        page = at_bench.get(address(check_in, name)).content.decode()
        assert "<script>alert" not in page
        assert "<b>top</b>" not in page
        assert "&lt;script&gt;alert(1)" in page


def test_spaces_and_lines_are_gathered(check_in, tech):
    damage = note_damage(check_in=check_in, place="  top ", words="a crack\r\n\r\n 40 mm", by=tech)
    assert str(damage) == "top: a crack 40 mm"


def test_it_is_voided_with_a_reason_and_stays_struck_out(check_in, at_bench, tech):
    damage = DamageFactory(check_in=check_in)
    where = address(damage, "damage-void")
    box = f"void-{damage.uuid.hex}-reason"
    answer = at_bench.post(where, {box: ""})
    assert answer.status_code == 422
    assert "Say why it is wrong." in answer.content.decode()
    at_bench.post(where, {box: "only <i>dirt</i>"})
    again = at_bench.post(where, {box: "once more"}, follow=True).content.decode()
    assert "was voided before" in again
    page = at_bench.get(address(check_in, "check-in")).content.decode()
    assert "<s><bdi>top</bdi>: <bdi>crack, 40 mm, open</bdi></s>, voided on" in page
    assert f"by {tech.get_full_name()}: <bdi>only &lt;i&gt;dirt&lt;/i&gt;</bdi>" in page
    damage.refresh_from_db()
    assert damage.voided_by == tech


def test_a_voided_check_in_takes_no_damage(check_in, tech):
    void(check_in, by=tech, reason="wrong instrument")
    with pytest.raises(ValidationError, match="was voided"):
        note_damage(check_in=check_in, place="top", words="crack", by=tech)


def test_a_check_in_holds_so_many_entries(check_in, tech, monkeypatch):
    monkeypatch.setattr(acts, "MOST_DAMAGES", 1)
    note_damage(check_in=check_in, place="top", words="crack", by=tech)
    with pytest.raises(ValidationError, match="has 1 entries of damage, the most"):
        note_damage(check_in=check_in, place="back", words="crack", by=tech)


def test_the_database_itself_wants_a_place_and_words(check_in):
    with pytest.raises(IntegrityError), transaction.atomic():
        DamageFactory(check_in=check_in, place="")


def test_photo_and_damage_cost_the_page_no_more_when_there_are_many(
    check_in, at_counter, django_assert_max_num_queries
):
    for n in range(8):
        PhotoFactory(check_in=check_in)
        DamageFactory(check_in=check_in, words=f"crack {n}")
    at_counter.get(address(check_in, "check-in"))
    with django_assert_max_num_queries(12):
        at_counter.get(address(check_in, "check-in"))
