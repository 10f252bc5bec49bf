"""Chosen photos and noted damage in the service report: frozen, in words, on two pages."""

import io
from datetime import timedelta

import pytest
from django.core.files.storage import default_storage
from django.urls import reverse
from PIL import Image
from pypdf import PdfReader

from measurements.acts import void
from measurements.models import CheckIn, Damage, Photo, ServiceReport, Stage
from measurements.photos.acts import add_photo, describe_photos, note_damage
from measurements.reports.content import freeze, issue
from measurements.reports.paper import pdf, pdf_html
from tests.measurements.photos.pictures import another, encoded
from tests.measurements.reports.test_content import (
    CAME,
    HOSTILE,
    make_visit,
    shown,
    structure,
    text_of,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def instrument():
    return make_visit()


def received(instrument) -> CheckIn:
    return instrument.check_ins.filter(stage=Stage.RECEIVED).last()


def chosen(check_in, by, n: int, words: str = "", data: bytes | None = None) -> Photo:
    photo, _ = add_photo(check_in=check_in, data=data or another(n), by=by)
    describe_photos(check_in=check_in, said={photo.uuid: (words, True)})
    return Photo.objects.get(pk=photo.pk)


def test_only_chosen_photos_of_this_visit_are_in_it(instrument, owner):
    came = received(instrument)
    back = instrument.check_ins.get(stage=Stage.RETURNED)
    first = chosen(came, owner, 1, "crack beside the bridge")
    add_photo(check_in=came, data=another(2), by=owner)  # not chosen
    void(chosen(came, owner, 3, "blurred"), by=owner, reason="blurred")
    chosen(instrument.check_ins.first(), owner, 4, "eight years ago")
    last = chosen(back, owner, 5)
    content = issue(instrument, owner).content
    assert content["photos"] == [
        {
            "number": 1,
            "uuid": str(first.uuid),
            "digest": first.digest,
            "words": "crack beside the bridge",
            "alt": "crack beside the bridge",
            "caption": "crack beside the bridge, as received",
        },
        {
            "number": 2,
            "uuid": str(last.uuid),
            "digest": last.digest,
            "words": "",
            "alt": "photo 1 of the check-in of 4 May 2026",
            "caption": "as returned",
        },
    ]


def test_damage_is_said_in_words_with_its_photo_and_a_later_day(instrument, owner):
    came = received(instrument)
    photo = chosen(came, owner, 1, "the crack")
    note_damage(check_in=came, place="top", words="crack, 40 mm", by=owner, photo=photo)
    note_damage(check_in=came, place="heel", words="gap at the back", by=owner)
    note_damage(check_in=came, place="case", words="latch broken", by=owner)
    wrong = note_damage(check_in=came, place="neck", words="nothing", by=owner)
    void(wrong, by=owner, reason="not so")
    Damage.objects.update(noted_at=CAME)
    Damage.objects.filter(place="case").update(noted_at=CAME + timedelta(days=2))
    report = issue(instrument, owner)
    assert report.content["damage"] == [
        "Top: crack, 40 mm (photo 1)",
        "Heel: gap at the back",
        "Case: latch broken (noted 6 May 2026)",
    ]
    assert "<h3>Damage noted when it came in</h3>" in shown(report)
    assert "Heel: gap at the back" in text_of(pdf(report))[1]


def test_without_photos_or_damage_nothing_is_said_of_them(instrument, owner):
    report = issue(instrument, owner)
    assert report.content["photos"] == report.content["damage"] == []
    assert "Photos" not in shown(report)
    assert "Damage" not in shown(report)


def test_a_report_from_before_photos_still_prints(instrument, owner):
    report = issue(instrument, owner)
    del report.content["photos"], report.content["damage"]
    report.save()
    assert "Service report" in shown(report)
    assert pdf(report).startswith(b"%PDF")


def test_a_reprint_says_the_same_after_words_change_and_photos_are_voided(instrument, owner):
    came = received(instrument)
    photo = chosen(came, owner, 1, "as it was")
    damage = note_damage(check_in=came, place="top", words="crack", by=owner)
    report = issue(instrument, owner)
    page, paper = shown(report), pdf_html(report)
    assert "data:image/jpeg;base64," in paper
    describe_photos(check_in=came, said={photo.uuid: ("other words", False)})
    void(photo, by=owner, reason="a slip")
    void(damage, by=owner, reason="a slip")
    again = ServiceReport.objects.get(pk=report.pk)
    assert shown(again) == page
    assert pdf_html(again) == paper
    assert freeze(instrument, by=owner, issued_at=CAME)["photos"] == []


def test_a_picture_that_is_gone_or_changed_is_not_passed_off(instrument, owner):
    came = received(instrument)
    gone, changed = chosen(came, owner, 1, "first"), chosen(came, owner, 2, "second")
    report = issue(instrument, owner)
    default_storage.delete(str(gone.image))
    with default_storage.open(str(changed.image), "wb") as file:
        file.write(another(9))
    paper = pdf_html(report)
    assert paper.count("The picture is missing.") == 2
    assert "data:image/jpeg" not in paper
    assert "first, as received" in paper
    assert pdf(report).startswith(b"%PDF")


def test_pictures_in_the_pdf_carry_their_words(instrument, owner):
    came = received(instrument)
    chosen(came, owner, 1, HOSTILE)
    chosen(came, owner, 2)
    reader, text = text_of(pdf(issue(instrument, owner)))
    figures = [
        alt
        for tag, alt in structure(reader.trailer["/Root"]["/StructTreeRoot"], [])
        if tag == "/Figure"
    ]
    assert HOSTILE in figures
    assert "photo 2 of the check-in of 4 May 2026" in figures
    assert HOSTILE in text


def picture(n: int) -> bytes:
    size = (1600, 1200) if n % 2 else (1200, 1600)  # lying and standing
    return encoded(Image.new("RGB", size, (n * 40 % 256, 90, 60)))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(
    ("photos", "words"), [(0, ""), (1, "crack beside the bridge"), (6, "a long story of it " * 10)]
)
def test_it_keeps_to_two_pages(instrument, owner, paper, photos, words):
    came = received(instrument)
    for n in range(photos):
        chosen(came, owner, n, words.strip(), picture(n))
    for place in ("top", "heel"):
        note_damage(check_in=came, place=place, words="crack, 40 mm, open; finish worn", by=owner)
    data = pdf(issue(instrument, owner), paper)
    pages = PdfReader(io.BytesIO(data)).pages
    assert len(pages) == 2
    assert len({image.data for page in pages for image in page.images}) == photos
    assert len(data) < 500_000


def test_the_page_shows_the_pictures_to_staff(instrument, owner, at_counter):
    photo = chosen(received(instrument), owner, 1, "<b>crack</b>")
    report = issue(instrument, owner)
    page = at_counter.get(reverse("report", kwargs={"number": report.number})).content.decode()
    where = reverse("photo", kwargs={"uuid": photo.uuid})
    assert f'<img src="{where}?size=small" alt="&lt;b&gt;crack&lt;/b&gt;" />' in page
    void(photo, by=owner, reason="a slip")
    assert at_counter.get(where).status_code == 200  # the report goes on showing it
