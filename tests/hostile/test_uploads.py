"""Uploads larger than anybody needs: refused in words, with little memory and disk, nothing kept."""

import io
import tracemalloc
from pathlib import Path

import pytest
from django.urls import reverse

from measurements.models import ImportRun, Photo
from measurements.old_records.archive import LIMIT_BYTES
from measurements.photos.kept import MOST_BYTES
from shop.uploads import MOST_OF_A_FILE, MOST_OF_A_REQUEST
from tests.factories import CheckInFactory
from tests.hostile.values import ELEMENT
from tests.measurements.photos.pictures import photo

pytestmark = pytest.mark.django_db
BOUNDARY = "edge-of-a-part"
MEGABYTE = 1_000_000


class Endless(io.RawIOBase):
    """A form's body of any size, made as it is read; remembers how much was."""

    def __init__(self, name: str, file_name: str, size: int, line: bytes) -> None:
        self.head = (
            f"--{BOUNDARY}\r\nContent-Disposition: form-data; "
            f'name="{name}"; filename="{file_name}"\r\nContent-Type: text/csv\r\n\r\n'
        ).encode()
        self.tail = f"\r\n--{BOUNDARY}--\r\n".encode()
        self.size, self.line = size, line * (64_000 // len(line) + 1)
        self.length = len(self.head) + size + len(self.tail)
        self.at = 0

    def read(self, wanted: int = -1) -> bytes:
        wanted = min(wanted if wanted >= 0 else self.length, 64_000, self.length - self.at)
        start, end = self.at, self.at + wanted
        self.at = end
        middle = len(self.head) + self.size
        if start >= len(self.head) and end <= middle:
            return self.line[:wanted]
        whole = self.head[start:end]
        whole += self.line[: max(0, min(end, middle) - max(start, len(self.head)))]
        return whole + self.tail[max(0, start - middle) : max(0, end - middle)]


def send(client, address, body):
    return client.generic(
        "POST",
        address,
        CONTENT_TYPE=f"multipart/form-data; boundary={BOUNDARY}",
        CONTENT_LENGTH=str(body.length),
        **{"wsgi.input": body},
    )


def test_the_body_is_what_it_says():
    body = Endless("file", "log.csv", 200_000, b"K7,2020-02-03,0.4\n")
    whole = b"".join(iter(lambda: body.read(7_000), b""))
    assert len(whole) == body.length
    assert whole.endswith(body.tail)


def test_the_limits_let_through_what_forms_take():
    assert max(LIMIT_BYTES, MOST_BYTES) < MOST_OF_A_FILE < 2 * LIMIT_BYTES
    assert 10 * MOST_BYTES < MOST_OF_A_REQUEST


def test_a_hundred_megabytes_of_csv_are_refused_in_little_memory_and_disk(
    at_desk, monkeypatch, tmp_path
):
    send(at_desk, reverse("imports"), Endless("file", "log.csv", 100, b"x"))  # loads what it needs
    written = []
    monkeypatch.setattr(
        "django.core.files.uploadedfile.tempfile.NamedTemporaryFile",
        lambda **options: written.append(tmp_path / "upload") or (tmp_path / "upload").open("w+b"),
    )
    body = Endless("file", "log.csv", 100 * MEGABYTE, b"K7,2020-02-03,0.4\n")
    tracemalloc.start()
    answer = send(at_desk, reverse("imports"), body)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert answer.status_code == 422
    assert "The file has 100 MB, more than 20 MB" in answer.content.decode()
    assert peak < 10 * MEGABYTE
    assert [path.stat().st_size for path in written] == [MOST_OF_A_FILE]
    assert not ImportRun.objects.exists()


@pytest.mark.parametrize("where", ["imports", "photos", "logo"])
def test_a_request_that_no_form_wants_is_not_even_read(where, at_desk):
    check_in = CheckInFactory()
    address = reverse(where, kwargs={"uuid": check_in.uuid} if where == "photos" else None)
    body = Endless("file", "log.csv", 10_000 * MEGABYTE, b"x")
    assert send(at_desk, address, body).status_code == 400
    assert body.at == 0


def test_a_photo_larger_than_any_is_refused_by_its_name(at_desk):
    check_in = CheckInFactory()
    body = Endless("photos", "big.jpg", 30 * MEGABYTE, photo())
    answer = send(at_desk, reverse("photos", kwargs={"uuid": check_in.uuid}), body)
    assert answer.status_code == 422
    assert "big.jpg" in answer.content.decode()
    assert not Photo.objects.exists()


@pytest.mark.parametrize(
    ("file_name", "data"),
    [
        ("photo.jpg", b"<svg xmlns='http://www.w3.org/2000/svg' onload='a()'/>"),
        ("photo.jpg", b"<html><script>a()</script>"),
        ("photo.png", b"%PDF-1.7\n"),
        ("photo.svg", b"<?xml version='1.0'?><svg/>"),
        ("../../photo.jpg", b"GIF89a" + b"\0" * 40),
        (f"<{ELEMENT}>.jpg", b"BM" + b"\0" * 60),
    ],
)
def test_a_picture_that_is_none_is_refused_and_its_name_stays_text(file_name, data, at_desk):
    check_in = CheckInFactory()
    upload = io.BytesIO(data)
    upload.name = file_name
    for address, name in (
        (reverse("photos", kwargs={"uuid": check_in.uuid}), "photos"),
        (reverse("logo"), "logo"),
    ):
        upload.seek(0)
        answer = at_desk.post(address, {name: upload})
        assert answer.status_code == 422, address
        assert f"<{ELEMENT}>" not in answer.content.decode()
    assert not Photo.objects.exists()


def test_thousands_of_files_and_fields_at_once_are_refused(at_desk):
    part = (
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="file"; filename="a.csv"\r\n\r\nx\r\n'
    ).encode()
    body = part * 3000 + f"--{BOUNDARY}--\r\n".encode()
    answer = at_desk.generic(
        "POST",
        reverse("imports"),
        body,
        content_type=f"multipart/form-data; boundary={BOUNDARY}",
    )
    assert answer.status_code == 400
    assert not ImportRun.objects.exists()


def test_nothing_is_left_of_a_body_that_breaks_off(at_desk, settings, tmp_path):
    settings.FILE_UPLOAD_TEMP_DIR = str(tmp_path)
    body = Endless("file", "log.csv", 9 * MEGABYTE, b"K7,2020-02-03,0.4\n")
    body.size, body.tail = body.size - 4 * MEGABYTE, b""
    answer = send(at_desk, reverse("imports"), body)
    assert answer.status_code in (302, 400, 422)
    assert list(Path(tmp_path).iterdir()) == []
    assert not ImportRun.objects.exists()
