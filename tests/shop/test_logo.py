"""The shop's logo: checked, small, plain, kept under its digest for every report that shows it."""

import io

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image, PngImagePlugin

from measurements.models import ServiceReport
from measurements.reports.content import issue
from measurements.reports.paper import pdf_html
from shop.logo import LIMITS, digest_now, png_of, prepare, remove_logo, set_logo
from shop.models import ShopProfile
from shop.pictures import PictureRefusedError
from tests.measurements.photos.pictures import encoded, png_claiming
from tests.measurements.reports.test_content import make_visit, shown

WIDE = encoded(Image.new("RGBA", (1500, 500), (0, 0, 90, 255)), "PNG")
ADDRESS = "/settings/logo/"


def opened(png: bytes) -> Image.Image:
    return Image.open(io.BytesIO(png))


@pytest.mark.parametrize("form", ["PNG", "JPEG", "WEBP"])
def test_it_is_written_anew_as_a_small_png(form):
    logo = prepare(encoded(Image.new("RGB", (1200, 400), "navy"), form))
    assert (logo.width, logo.height) == opened(logo.png).size == (600, 200)
    assert opened(logo.png).format == "PNG"


def test_a_small_one_is_not_blown_up_and_what_is_clear_is_white():
    clear = Image.new("RGBA", (40, 20), (0, 0, 0, 0))
    logo = prepare(encoded(clear, "PNG"))
    assert opened(logo.png).size == (40, 20)
    assert opened(logo.png).convert("RGB").getpixel((3, 3)) == (255, 255, 255)


def test_nothing_travels_along():
    words = PngImagePlugin.PngInfo()
    words.add_text("Comment", "<script>alert(1)</script>")
    assert b"script" not in prepare(encoded(Image.new("RGB", (9, 9)), "PNG", pnginfo=words)).png


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "it is empty"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "Save it as PNG first"),
        (b"GIF89a" + bytes(50), "it is a GIF"),
        (b"%PDF-1.7 ", "it is a PDF"),
        (b"\x89PNG\r\n\x1a\n" + bytes(40), "cannot be read as a picture"),
        (WIDE[: len(WIDE) // 2], "cut short"),
        (png_claiming(20_000, 1001), "more than 20 million pixels"),
        (bytes(LIMITS.most_bytes + 1), "it has 6 MB; at most 5 MB"),
    ],
)
def test_what_is_no_picture_is_refused_with_what_to_do(data, words):
    with pytest.raises(PictureRefusedError, match=words):
        prepare(data)


@pytest.mark.django_db
def test_a_report_keeps_the_logo_it_was_issued_with(owner):
    first = set_logo(WIDE)
    report = issue(make_visit(), owner)
    page, paper = shown(report), pdf_html(report)
    assert f'src="/logo/{first.digest}/"' in page
    assert 'src="data:image/png;base64,' in paper
    second = set_logo(encoded(Image.new("RGB", (10, 10), "red"), "PNG"))
    remove_logo()
    again = ServiceReport.objects.get()
    assert (shown(again), pdf_html(again)) == (page, paper)
    assert png_of(first.digest) == first.png
    assert png_of(second.digest) == second.png
    assert issue(make_visit(), owner).content["shop"]["logo"] is None


@pytest.mark.django_db
def test_a_file_that_is_gone_or_changed_is_not_passed_off(owner):
    logo = set_logo(WIDE)
    report = issue(make_visit(), owner)
    name = str(ShopProfile.current().logo)
    with default_storage.open(name, "wb") as file:
        file.write(encoded(Image.new("RGB", (9, 9), "red"), "PNG"))
    assert png_of(logo.digest) is None
    assert "data:image/png" not in pdf_html(report)
    default_storage.delete(name)
    assert png_of(logo.digest) is None


@pytest.mark.django_db
@pytest.mark.parametrize("digest", ["", "..", "../../etc/passwd", "A" * 64, "0" * 63])
def test_only_digests_name_files(digest):
    assert png_of(digest) is None


@pytest.mark.django_db
def test_the_owner_puts_it_up_and_takes_it_down(at_desk, at_counter):
    assert "None yet" in at_desk.get(ADDRESS).content.decode()
    answer = at_desk.post(ADDRESS, {"file": SimpleUploadedFile("../x.exe", WIDE)}, follow=True)
    digest = digest_now(ShopProfile.current())
    assert f'src="/logo/{digest}/"' in answer.content.decode()
    picture = at_counter.get(f"/logo/{digest}/")
    assert picture["Content-Type"] == "image/png"
    assert picture["X-Content-Type-Options"] == "nosniff"
    assert at_counter.get(f"/logo/{'0' * 64}/").status_code == 404
    at_desk.post(ADDRESS, {"remove": "1"})
    assert digest_now(ShopProfile.current()) == ""
    assert at_counter.get(f"/logo/{digest}/").status_code == 200  # earlier reports show it
    assert at_counter.get(ADDRESS).status_code == at_counter.post(ADDRESS).status_code == 403


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("file", "words"),
    [
        (None, "Choose a picture first."),
        (SimpleUploadedFile("logo.svg", b"<svg/>"), "Not kept: it is a drawing"),
        (SimpleUploadedFile("logo.png", b""), "Not kept: it is empty."),
        (SimpleUploadedFile("logo.png", bytes(5 * 2**20 + 1)), "Not kept: it has 6 MB"),
    ],
)
def test_a_refused_file_leaves_the_logo_as_it_was(at_desk, file, words):
    logo = set_logo(WIDE)
    answer = at_desk.post(ADDRESS, {"file": file} if file else {})
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert digest_now(ShopProfile.current()) == logo.digest


@pytest.mark.django_db
def test_a_full_disk_is_said(at_desk, monkeypatch):
    def full(*args, **kwargs):
        raise OSError("no space left")

    monkeypatch.setattr(default_storage, "save", full)
    new = encoded(Image.new("RGB", (11, 7), "green"), "PNG")
    answer = at_desk.post(ADDRESS, {"file": SimpleUploadedFile("a.png", new)})
    assert answer.status_code == 422
    assert "the disk may be full" in answer.content.decode()
    assert digest_now(ShopProfile.current()) == ""


@pytest.mark.django_db
def test_who_changed_it_is_on_record(at_desk, owner):
    at_desk.post(ADDRESS, {"file": SimpleUploadedFile("a.png", WIDE)})
    newest = ShopProfile.history.latest()
    assert (newest.history_user, bool(newest.logo)) == (owner, True)
