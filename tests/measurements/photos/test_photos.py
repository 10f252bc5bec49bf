"""A photo is checked by its bytes, turned upright, stripped, made small; nothing is half-saved."""

import io
import re
from hashlib import sha256
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import DatabaseError
from django.urls import reverse
from PIL import Image, ImageCms, ImageFile

from measurements.acts import record_check_in, void
from measurements.models import Damage, Photo, Stage
from measurements.photos import acts
from measurements.photos.acts import MOST_IN_REPORT, add_photo, describe_photos
from measurements.photos.kept import PhotoRefusedError, prepare, shrink
from measurements.photos.reads import jpeg_of, seen_at
from shop import pictures
from tests.factories import CheckInFactory, PhotoFactory
from tests.measurements.photos.pictures import (
    another,
    encoded,
    halves,
    located,
    looks,
    photo,
    png_claiming,
    turned,
)


def kept(data: bytes) -> Image.Image:
    """The kept picture, read back."""
    return Image.open(io.BytesIO(prepare(data).jpeg))


# What is kept of a file


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_three_kinds_of_picture_are_kept_as_jpeg(form):
    image = kept(photo(form))
    assert (image.format, image.mode, image.size) == ("JPEG", "RGB", (80, 40))
    assert looks(image, (40, 8)) == "red"
    assert looks(image, (40, 32)) == "blue"


def test_place_time_camera_and_remarks_are_gone():
    data = located()
    before = Image.open(io.BytesIO(data))
    assert before.getexif().get_ifd(0x8825)[2] == (53.0, 20.0, 30.0)  # so there was something
    assert before.info["comment"] == b"my home"
    image = kept(data)
    assert not dict(image.getexif())
    assert not image.getexif().get_ifd(0x8825)
    # Only what JFIF itself needs: no comment, no profile, no XMP.
    assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    for trace in (b"Exif", b"Some camera", b"my home", b"2026:05:04"):
        assert trace in data
        assert trace not in prepare(data).jpeg


# Tables of EXIF 2.3, tag Orientation: where row 0 and column 0 of the stored picture belong.
@pytest.mark.parametrize(
    ("orientation", "size", "red_at"),
    [
        (1, (80, 40), (40, 4)),
        (2, (80, 40), (40, 4)),
        (3, (80, 40), (40, 36)),
        (4, (80, 40), (40, 36)),
        (5, (40, 80), (4, 40)),
        (6, (40, 80), (36, 40)),
        (7, (40, 80), (36, 40)),
        (8, (40, 80), (4, 40)),
        (99, (80, 40), (40, 4)),
    ],
)
def test_it_is_turned_upright(orientation, size, red_at):
    image = kept(turned(orientation))
    assert image.size == size
    assert looks(image, red_at) == "red"
    assert looks(image, (size[0] - red_at[0], size[1] - red_at[1])) == "blue"


def test_a_mirrored_picture_is_mirrored_back():
    left_red = Image.new("RGB", (80, 40), (30, 30, 200))
    left_red.paste((200, 30, 30), (0, 0, 40, 40))
    assert looks(kept(turned(2, left_red)), (70, 20)) == "red"


@pytest.mark.parametrize(
    ("size", "expected"),
    [((4000, 3000), (1600, 1200)), ((1000, 5000), (320, 1600)), ((200, 100), (200, 100))],
)
def test_the_longest_side_is_1600_at_most(size, expected):
    assert kept(encoded(Image.new("RGB", size))).size == expected
    assert kept(encoded(Image.new("RGB", size), "PNG")).size == expected


def test_what_is_transparent_becomes_white():
    clear = Image.new("RGBA", (20, 20), (0, 0, 0, 0))
    for data in (encoded(clear, "PNG"), encoded(clear, "WEBP", lossless=True)):
        assert kept(data).getpixel((10, 10)) == (255, 255, 255)
    palette = Image.new("P", (20, 20), 0)
    assert kept(encoded(palette, "PNG", transparency=0)).getpixel((10, 10)) == (255, 255, 255)
    grey = Image.new("LA", (20, 20), (0, 0))
    assert kept(encoded(grey, "PNG")).getpixel((10, 10)) == (255, 255, 255)


@pytest.mark.parametrize("mode", ["1", "L", "P", "I;16", "CMYK"])
def test_any_depth_and_mode_is_read(mode):
    image = Image.new(mode, (20, 20), 32768 if mode == "I;16" else 0)
    image = kept(encoded(image, "JPEG" if mode == "CMYK" else "PNG"))
    # Half of 65535 is mid-grey, not white; nothing in CMYK is white.
    expected = {"I;16": 128, "CMYK": 255}.get(mode, 0)
    assert image.getpixel((10, 10))[0] == pytest.approx(expected, abs=2)


def test_colours_of_another_profile_become_srgb():
    """A profile that swaps nothing leaves colours alone; the profile itself does not stay."""
    same = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    for profile in (same, lab, b"no profile at all"):
        image = kept(photo(icc_profile=profile))
        assert "icc_profile" not in image.info
        assert looks(image, (40, 8)) == "red"


def test_a_wider_profile_is_converted():
    """On a profile whose red and green are exchanged, stored red is seen as green."""
    swapped = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    red, green = swapped.index(b"rXYZ"), swapped.index(b"gXYZ")
    swapped[red : red + 4], swapped[green : green + 4] = b"gXYZ", b"rXYZ"
    data = encoded(Image.new("RGB", (20, 20), (250, 0, 0)), icc_profile=bytes(swapped))
    red_level, green_level, _ = kept(data).getpixel((10, 10))
    assert green_level > 200 > 60 > red_level


def test_the_same_bytes_give_the_same_picture():
    assert prepare(located()) == prepare(located())
    assert prepare(located()).digest != prepare(another(1)).digest


def test_a_small_one_has_400_pixels_at_most():
    big = prepare(encoded(Image.new("RGB", (4000, 3000)))).jpeg
    assert Image.open(io.BytesIO(shrink(big))).size == (400, 300)
    assert shrink(big) == shrink(big)
    tiny = prepare(photo()).jpeg
    assert Image.open(io.BytesIO(shrink(tiny))).size == (80, 40)


# What is refused

SVG = (
    b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
)
HTML = b"\xef\xbb\xbf \n<!doctype html><script>alert(1)</script>"
PDF = b"%PDF-1.7\n1 0 obj<<>>endobj"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "it is empty"),
        (SVG, "a drawing or a web page"),
        (HTML, "a drawing or a web page"),
        (PDF, "a PDF document"),
        (photo("GIF"), "it is a GIF"),
        (photo("TIFF"), "a TIFF"),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 80, "it is a HEIC picture"),
        (photo("BMP"), "cannot be read as a picture"),
        (b"hello", "cannot be read as a picture"),
        (b"\xff\xd8\xff", "cannot be read as a picture"),
        (b"\x89PNG\r\n\x1a\n", "cannot be read as a picture"),
        (encoded(Image.effect_noise((300, 300), 90))[:9000], "damaged or was cut short"),
        (encoded(Image.effect_noise((300, 300), 90), "PNG")[:9000], "damaged or was cut short"),
        (encoded(Image.effect_noise((300, 300), 90), "WEBP")[:9000], "cut short|cannot be read"),
        (photo() + b"\0" * (13 * 10**6), "it has 13 MB; at most 12 MB"),
        (photo() + b"\0" * (12 * 2**20), "it has 13 MB; at most 12 MB"),
    ],
)
def test_what_is_no_photo_is_refused_with_what_to_do(data, words):
    with pytest.raises(PhotoRefusedError, match=words) as refusal:
        prepare(data)
    assert re.search(r"\. [A-Z][a-z]+ ", f"{refusal.value}.")  # a second sentence: what to do


@pytest.mark.parametrize("form", ["JPEG", "PNG"])
def test_half_a_picture_is_refused_whatever_another_library_allowed(form, monkeypatch):
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)  # WeasyPrint does so on import
    with pytest.raises(PhotoRefusedError, match="cut short"):
        prepare(encoded(Image.effect_noise((300, 300), 90), form)[:9000])


@pytest.mark.parametrize("size", [(7746, 7746), (10_000, 10_000), (60_000, 60_000), (1, 2**31 - 1)])
def test_a_bomb_is_refused_by_its_header(size, monkeypatch):
    def unpacked(*args):
        raise AssertionError("it was unpacked")

    monkeypatch.setattr(pictures, "_unpack", unpacked)
    with pytest.raises(PhotoRefusedError, match="more than 60 million pixels"):
        prepare(png_claiming(*size))


def test_what_is_glued_to_a_picture_does_not_stay():
    data = encoded(halves(), comment=b"<script>alert(1)</script>") + PDF + HTML
    assert b"script" not in prepare(data).jpeg
    assert b"PDF" not in prepare(data).jpeg


# Kept with its row


@pytest.fixture
def check_in(db):
    return CheckInFactory()


def files() -> set[str]:
    return set(default_storage.listdir("photos")[1]) if default_storage.exists("photos") else set()


def test_a_photo_is_stored_under_a_name_of_our_own(check_in, tech):
    row, is_new = add_photo(check_in=check_in, data=photo(), by=tech)
    assert is_new
    assert str(row.image) == f"photos/{row.uuid}.jpg"
    assert (row.width, row.height, row.added_by) == (80, 40, tech)
    assert jpeg_of(row) == prepare(photo()).jpeg
    assert row.digest == prepare(photo()).digest
    assert sha256(jpeg_of(row)).hexdigest() == row.digest


def test_the_same_photo_twice_is_kept_once(check_in, tech):
    first, _ = add_photo(check_in=check_in, data=photo(), by=tech)
    before = files()
    assert add_photo(check_in=check_in, data=photo(), by=tech) == (first, False)
    assert files() == before
    other = CheckInFactory(instrument=check_in.instrument)
    assert add_photo(check_in=other, data=photo(), by=tech)[1]
    void(first, by=tech, reason="blurred")
    again, is_new = add_photo(check_in=check_in, data=photo(), by=tech)
    assert is_new
    assert again != first


def test_no_file_stays_without_its_row(check_in, tech, monkeypatch):
    before = files()

    def broken(self, *args, **kwargs):
        assert files() != before  # the file was there already
        raise DatabaseError("gone")

    monkeypatch.setattr(Photo, "save", broken)
    with pytest.raises(DatabaseError):
        add_photo(check_in=check_in, data=photo(), by=tech)
    assert files() == before
    assert not Photo.objects.exists()


def test_a_full_disk_is_said_and_leaves_nothing(check_in, tech, monkeypatch, caplog):
    def full(*args, **kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(acts.default_storage, "save", full)
    with pytest.raises(PhotoRefusedError, match="the disk may be full"):
        add_photo(check_in=check_in, data=photo(), by=tech)
    assert not Photo.objects.exists()
    assert "could not be stored" in caplog.text


def test_a_check_in_holds_so_many_photos(check_in, tech, monkeypatch):
    monkeypatch.setattr(acts, "MOST_PHOTOS", 2)
    for n in range(2):
        add_photo(check_in=check_in, data=another(n), by=tech)
    with pytest.raises(PhotoRefusedError, match="has 2 photos, the most it can hold"):
        add_photo(check_in=check_in, data=another(2), by=tech)


def test_a_voided_check_in_takes_no_photo(check_in, tech):
    void(check_in, by=tech, reason="wrong instrument")
    with pytest.raises(ValidationError, match="was voided"):
        add_photo(check_in=check_in, data=photo(), by=tech)


def test_a_correction_keeps_what_was_seen(check_in, tech):
    row, _ = add_photo(check_in=check_in, data=photo(), by=tech)
    corrected = record_check_in(
        instrument=check_in.instrument,
        measured_at=check_in.measured_at,
        by=tech,
        stage=Stage.RECEIVED,
        actions_mm={(12, "bass"): 2.4},
        replaces=check_in,
        reason="a slip",
    )
    assert [item.photo for item in seen_at(corrected).photos] == [row]
    assert add_photo(check_in=corrected, data=photo(), by=tech) == (row, False)
    assert describe_photos(check_in=corrected, said={row.uuid: ("the top", True)}) == 1


def test_words_and_choice_are_saved_and_the_rest_left_alone(check_in):
    first, second = PhotoFactory(check_in=check_in), PhotoFactory(check_in=check_in, words="back")
    stranger = PhotoFactory(words="theirs")
    said = {first.uuid: (" the \n top ", True), stranger.uuid: ("mine", True)}
    assert describe_photos(check_in=check_in, said=said) == 1
    assert describe_photos(check_in=check_in, said=said) == 0
    rows = {row.pk: (row.words, row.in_report) for row in Photo.objects.all()}
    assert rows == {
        first.pk: ("the top", True),
        second.pk: ("back", False),
        stranger.pk: ("theirs", False),
    }


def test_too_many_for_the_report_change_nothing(check_in):
    rows = [PhotoFactory(check_in=check_in) for _ in range(MOST_IN_REPORT + 2)]
    with pytest.raises(ValidationError, match=r"8 photos are ticked .* at most 6 .* Untick 2"):
        describe_photos(check_in=check_in, said={row.uuid: ("", True) for row in rows})
    assert not Photo.objects.filter(in_report=True).exists()


# By the page


def upload(name: str, data: bytes) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data, "image/jpeg")


def address(check_in, name: str = "photos") -> str:
    return reverse(name, kwargs={"uuid": check_in.uuid})


def test_several_are_added_at_once(check_in, at_bench, tech):
    sent = [upload("a.jpg", another(1)), upload("b.jpg", photo("PNG")), upload("c.jpg", another(1))]
    answer = at_bench.post(address(check_in), {"photos": sent}, follow=True)
    assert answer.redirect_chain == [(address(check_in), 302)]
    page = answer.content.decode()
    assert "2 photos are saved. 1 was here already and is kept once." in page
    assert page.count("?size=small") == 2
    assert set(Photo.objects.values_list("added_by", flat=True)) == {tech.pk}


def test_what_is_wrong_is_named_and_what_is_right_is_saved(check_in, at_bench):
    hostile = '"><img src=x onerror=alert(1)>.jpg'
    sent = [upload("a.jpg", photo()), upload(hostile, SVG), upload("empty.png", b"")]
    answer = at_bench.post(address(check_in), {"photos": sent})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "1 photo is saved." in page
    assert "<img src=x" not in page
    assert "&lt;img src=x onerror=alert(1)&gt;.jpg</bdi>: it is a drawing" in page
    assert "<bdi>empty.png</bdi>: it is empty." in page
    assert Photo.objects.count() == 1


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\photos\\x.jpg", "x.jpg"),
        ("gpj.\u202eexe\x00\x07\n.jpg", "gpj.exe.jpg"),
        ("é" * 300 + ".jpg", "é" * 60 + "…"),
    ],
)
def test_a_clients_name_is_harmless_and_never_kept(check_in, at_bench, name, shown):
    file = upload("x", b"no picture")
    file._name = name  # past Django's own cleaning, as a client would send it
    page = at_bench.post(address(check_in), {"photos": file}).content.decode()
    assert f"<bdi>{shown}</bdi>: it cannot be read" in page
    file = upload("x", photo())
    file._name = name
    at_bench.post(address(check_in), {"photos": file})
    row = Photo.objects.get()
    assert str(row.image) == f"photos/{row.uuid}.jpg"


@pytest.mark.parametrize("size", [12 * 2**20 + 1, 13 * 10**6])
def test_too_large_a_file_is_not_even_read(check_in, at_bench, size, monkeypatch):
    monkeypatch.setattr(acts, "prepare", None)
    answer = at_bench.post(address(check_in), {"photos": upload("big.jpg", b"\xff" * size)})
    assert answer.status_code == 422
    assert "<bdi>big.jpg</bdi>: it has 13 MB; at most 12 MB." in answer.content.decode()


def test_none_or_too_many_at_once_are_refused(check_in, at_bench):
    answer = at_bench.post(address(check_in))
    assert answer.status_code == 422
    assert "Choose at least one photo." in answer.content.decode()
    answer = at_bench.post(
        address(check_in), {"photos": [upload(f"{n}.jpg", another(n)) for n in range(11)]}
    )
    assert answer.status_code == 422
    assert "11 photos at once; at most 10." in answer.content.decode()
    assert not Photo.objects.exists()


def test_words_and_ticks_are_saved_together(check_in, at_bench):
    first, second = (
        PhotoFactory(check_in=check_in),
        PhotoFactory(check_in=check_in, in_report=True),
    )
    data = {
        f"photo-{first.uuid.hex}-words": "<b>the top</b>",
        f"photo-{first.uuid.hex}-in_report": "on",
        f"photo-{second.uuid.hex}-words": "",
    }
    page = at_bench.post(address(check_in, "photos-describe"), data, follow=True).content.decode()
    assert "The words and ticks are saved." in page
    assert 'alt="&lt;b&gt;the top&lt;/b&gt;"' in page
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.words, first.in_report) == ("<b>the top</b>", True)
    assert not second.in_report


def all_of_the_page(row, **changes) -> dict:
    """What a browser sends of a page on which all is filled in, but no reason to void."""
    name = f"photo-{row.uuid.hex}"
    return {
        f"{name}-words": "the top",
        f"{name}-in_report": "on",
        "uuid": str(uuid4()),
        "place": "heel",
        "words": "crack, 9 mm",
        "photo": "",
        "photos": upload("a.jpg", photo()),
        f"void-{row.uuid.hex}-reason": "",
    } | changes


@pytest.mark.parametrize("button", ["photos", "photos-describe", "damage-note"])
def test_whichever_button_is_pressed_all_that_is_filled_in_is_saved(check_in, at_bench, button):
    row = PhotoFactory(check_in=check_in)
    answer = at_bench.post(address(check_in, button), all_of_the_page(row), follow=True)
    assert answer.redirect_chain == [(address(check_in), 302)]
    said = "1 photo is saved. The words and ticks are saved. Noted: heel: crack, 9 mm."
    assert said in answer.content.decode()
    row.refresh_from_db()
    assert (row.words, row.in_report) == ("the top", True)
    assert Photo.objects.count() == 2
    assert str(Damage.objects.get()) == "heel: crack, 9 mm"


@pytest.mark.parametrize("button", ["photos", "photos-describe", "damage-note"])
def test_what_is_only_begun_comes_back_in_its_box_and_the_rest_is_saved(check_in, at_bench, button):
    row = PhotoFactory(check_in=check_in)
    answer = at_bench.post(address(check_in, button), all_of_the_page(row, words=""))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "1 photo is saved. The words and ticks are saved." in page
    assert "What is damaged is needed." in page
    assert 'value="heel"' in page
    assert not Damage.objects.exists()
    row.refresh_from_db()
    assert row.words == "the top"
    assert Photo.objects.count() == 2


def test_a_button_without_its_own_part_saves_the_others_and_says_what_it_lacks(check_in, at_bench):
    row = PhotoFactory(check_in=check_in)
    sent = all_of_the_page(row)
    del sent["photos"]
    page = at_bench.post(address(check_in), sent).content.decode()
    assert "Choose at least one photo." in page
    assert "The words and ticks are saved. Noted: heel: crack, 9 mm." in page


def test_striking_out_saves_what_was_typed_beside_it(check_in, at_bench):
    row, other = PhotoFactory(check_in=check_in), PhotoFactory(check_in=check_in)
    sent = all_of_the_page(row) | {f"void-{other.uuid.hex}-reason": "blurred"}
    at_bench.post(reverse("photo-void", kwargs={"uuid": other.uuid}), sent)
    other.refresh_from_db()
    row.refresh_from_db()
    assert (other.void_reason, row.words, row.voided_at) == ("blurred", "the top", None)
    assert Damage.objects.count() == 1


def test_a_reason_to_void_is_kept_by_another_button_and_voids_nothing(check_in, at_bench):
    row = PhotoFactory(check_in=check_in)
    sent = all_of_the_page(row) | {f"void-{row.uuid.hex}-reason": "blurred"}
    answer = at_bench.post(address(check_in), sent)
    assert answer.status_code == 422
    assert 'value="blurred"' in answer.content.decode()
    assert "Nothing is struck out yet" in answer.content.decode()
    assert not Photo.objects.exclude(voided_at=None).exists()


def test_what_was_typed_while_the_check_in_was_corrected_goes_to_the_correction(
    check_in, at_bench, tech
):
    row = PhotoFactory(check_in=check_in)
    standing = CheckInFactory(instrument=check_in.instrument, replaces=check_in)
    void(check_in, by=tech, reason="a slip")
    answer = at_bench.post(address(check_in), all_of_the_page(row))
    assert answer["Location"] == address(standing)
    assert Damage.objects.get().check_in == standing
    row.refresh_from_db()
    assert row.words == "the top"


def test_words_that_are_too_long_are_kept_in_their_box(check_in, at_bench):
    row = PhotoFactory(check_in=check_in)
    data = {f"photo-{row.uuid.hex}-words": "w" * 201}
    answer = at_bench.post(address(check_in, "photos-describe"), data)
    assert answer.status_code == 422
    assert "w" * 201 in answer.content.decode()
    assert "at most 200 characters" in answer.content.decode()


def test_too_many_ticks_are_refused_and_kept(check_in, at_bench):
    rows = [PhotoFactory(check_in=check_in) for _ in range(7)]
    data = {}
    for row in rows:
        data |= {f"photo-{row.uuid.hex}-words": "", f"photo-{row.uuid.hex}-in_report": "on"}
    answer = at_bench.post(address(check_in, "photos-describe"), data)
    assert answer.status_code == 422
    assert "Untick 1." in answer.content.decode()
    assert answer.content.decode().count("checked") == 7


def test_a_photo_is_voided_with_a_reason_and_no_longer_shown(check_in, at_bench, at_counter, tech):
    row = PhotoFactory(check_in=check_in, words="the top")
    picture = reverse("photo", kwargs={"uuid": row.uuid})
    where, box = reverse("photo-void", kwargs={"uuid": row.uuid}), f"void-{row.uuid.hex}-reason"
    answer = at_bench.post(where, {box: " "})
    assert answer.status_code == 422
    assert "Say why it is wrong." in answer.content.decode()
    at_bench.post(where, {box: "another guitar"})
    for client in (at_bench, at_counter):
        page = client.get(address(check_in, "check-in")).content.decode()
        assert picture not in page
        assert "<s>Photo 1: <bdi>the top</bdi></s>, voided on" in page
        assert f"by {tech.get_full_name()}: <bdi>another guitar</bdi>" in page


def test_the_counter_looks_and_does_not_touch(check_in, at_counter):
    row = PhotoFactory(check_in=check_in)
    page = at_counter.get(address(check_in, "check-in")).content.decode()
    assert reverse("photo", kwargs={"uuid": row.uuid}) in page
    assert address(check_in) not in page


def test_the_page_of_a_corrected_check_in_leads_to_what_stands(check_in, at_bench, tech):
    standing = CheckInFactory(instrument=check_in.instrument, replaces=check_in)
    void(check_in, by=tech, reason="a slip")
    assert at_bench.get(address(check_in))["Location"] == address(standing)
    void(standing, by=tech, reason="not at all")
    assert at_bench.get(address(check_in))["Location"] == address(check_in, "check-in")
    at_bench.post(address(check_in), {"photos": upload("a.jpg", photo())})
    assert not Photo.objects.exists()


# Handing out


def test_a_picture_goes_to_staff_only_and_only_as_a_picture(check_in, at_counter, client, tech):
    row, _ = add_photo(check_in=check_in, data=encoded(Image.new("RGB", (900, 600))), by=tech)
    where = reverse("photo", kwargs={"uuid": row.uuid})
    assert client.get(where)["Location"].startswith("/sign-in/")
    answer = at_counter.get(where)
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Disposition"] == f'inline; filename="{row.uuid}.jpg"'
    assert answer["Cache-Control"].startswith("private")
    assert answer.content == jpeg_of(row)
    small = at_counter.get(where, {"size": "small"})
    assert Image.open(io.BytesIO(small.content)).size == (400, 267)
    assert at_counter.get(f"/{row.image}").status_code == 404  # nothing is served as it lies there
    assert at_counter.get(f"/media/{row.image}").status_code == 404


def test_a_lost_file_is_not_found(check_in, at_counter):
    row = PhotoFactory(check_in=check_in)
    default_storage.delete(str(row.image))
    assert at_counter.get(reverse("photo", kwargs={"uuid": row.uuid})).status_code == 404
    assert at_counter.get(address(check_in, "check-in")).status_code == 200


def test_an_unknown_picture_is_not_found(at_counter, db):
    assert at_counter.get(reverse("photo", kwargs={"uuid": uuid4()})).status_code == 404


def test_the_instruments_page_shows_this_visits_photos(check_in, at_bench):
    row = PhotoFactory(check_in=check_in)
    old = PhotoFactory(
        check_in=CheckInFactory(instrument=check_in.instrument, measured_at="2011-05-01T10:00Z")
    )
    returned = CheckInFactory(instrument=check_in.instrument, stage=Stage.RETURNED)
    page = at_bench.get(
        reverse("instrument", kwargs={"tag": check_in.instrument.tag})
    ).content.decode()
    assert reverse("photo", kwargs={"uuid": row.uuid}) in page
    assert reverse("photo", kwargs={"uuid": old.uuid}) not in page
    assert f'href="{address(returned)}">Add photos or damage' in page


def test_the_instruments_page_shows_six_of_many(check_in, at_bench):
    for _ in range(8):
        PhotoFactory(check_in=check_in)
    page = at_bench.get(
        reverse("instrument", kwargs={"tag": check_in.instrument.tag})
    ).content.decode()
    assert page.count("?size=small") == 6
    assert f'href="{address(check_in, "check-in")}#photos">All photos' in page
