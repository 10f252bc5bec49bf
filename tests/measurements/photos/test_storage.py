"""Photos and the logo lie wherever a setting says; nothing asks the disk for them."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.files.storage import InMemoryStorage, default_storage
from django.urls import reverse
from PIL import Image

from measurements.models import Photo
from measurements.photos.acts import add_photo
from measurements.photos.reads import jpeg_of
from shop import logo
from tests.factories import CheckInFactory
from tests.measurements.photos.pictures import encoded

ROOT = Path(__file__).parents[3]


@pytest.fixture
def elsewhere(settings, tmp_path) -> None:
    """Photos in memory; the folder of photos is a place where nothing can be made."""
    (tmp_path / "file").write_text("")
    settings.MEDIA_ROOT = str(tmp_path / "file" / "photos")
    memory = {"BACKEND": "django.core.files.storage.InMemoryStorage"}
    settings.STORAGES = {**settings.STORAGES, "default": memory}


@pytest.mark.django_db
def test_a_photo_goes_to_the_storage_and_comes_from_it(elsewhere, at_bench, tech):
    check_in = CheckInFactory()
    with_colour = encoded(Image.new("RGB", (40, 30), (200, 30, 30)))
    photo, new = add_photo(check_in=check_in, data=with_colour, by=tech)
    assert new
    assert isinstance(Photo._meta.get_field("image").storage._wrapped, InMemoryStorage)
    assert jpeg_of(photo).startswith(b"\xff\xd8")
    response = at_bench.get(reverse("photo", kwargs={"uuid": photo.uuid}))
    body = b"".join(response.streaming_content) if response.streaming else response.content
    assert (response.status_code, body) == (200, jpeg_of(photo))
    page = at_bench.get(reverse("instrument", kwargs={"tag": check_in.instrument.tag}))
    assert str(photo.uuid) in page.content.decode()


@pytest.mark.django_db
def test_so_does_the_logo(elsewhere):
    stored = logo.set_logo(encoded(Image.new("RGB", (8, 6)), "PNG"))
    assert default_storage.listdir("")[0] or default_storage.listdir("")[1]
    assert stored.digest


@pytest.mark.django_db
def test_and_the_readiness_check_writes_there(elsewhere, client):
    assert client.get(reverse("ready")).json()["storage"] == "ok"


def test_a_storage_and_its_options_come_from_the_environment():
    wanted = {"location": "/srv/photos", "base_url": None}
    environment = os.environ | {
        "SADDLEROOM_PHOTO_STORAGE": "django.core.files.storage.FileSystemStorage",
        "SADDLEROOM_PHOTO_STORAGE_OPTIONS": json.dumps(wanted),
    }
    told = subprocess.run(
        [sys.executable, "-c", "from shop.settings import STORAGES; print(STORAGES['default'])"],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "/srv/photos" in told.stdout
    assert "file_permissions_mode" not in told.stdout
