"""The shop's logo: stored under its own digest and never deleted, so that a reprint shows what it showed.

A report freezes the digest; the profile names the logo of reports to come.
"""

import base64
import hashlib
import io
import re
from dataclasses import dataclass
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils.translation import gettext_noop
from PIL import Image

from shop.models import ShopProfile
from shop.pictures import Limits, read_picture

LIMITS = Limits(
    most_bytes=5 * 1024 * 1024,
    most_pixels=20_000_000,
    longest_px=600,
    again=gettext_noop("Save the logo anew"),
    smaller=gettext_noop("Save the logo smaller; 600 pixels are enough"),
)
DIGEST = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class Logo:
    """PNG bytes, their size in pixels, and their SHA-256 in hexadecimal."""

    png: bytes
    width: int
    height: int
    digest: str


def prepare(data: bytes) -> Logo:
    """The picture in a file, on white, its longest side at most 600 px, written anew as PNG.

    Raises ``PictureRefusedError`` saying what is wrong and what to do.
    """
    image = read_picture(data, LIMITS)
    out = io.BytesIO()
    image.save(out, "PNG", optimize=True)
    png = out.getvalue()
    return Logo(png, image.width, image.height, hashlib.sha256(png).hexdigest())


def set_logo(data: bytes) -> Logo:
    """Keep a logo and show it on reports from now on. Raises ``PictureRefusedError``, ``OSError``."""
    logo = prepare(data)
    name = _name(logo.digest)
    if not default_storage.exists(name):
        default_storage.save(name, ContentFile(logo.png))
    _point_to(name)
    return logo


def remove_logo() -> None:
    """Show none on reports from now on; earlier ones keep theirs."""
    _point_to("")


@transaction.atomic
def _point_to(name: str) -> None:
    profile, _ = ShopProfile.objects.select_for_update().get_or_create(pk=1)
    if str(profile.logo) != name:
        profile.logo = name
        profile.save(update_fields=["logo"])


def digest_now(profile: ShopProfile) -> str:
    """The digest of the profile's logo; empty where there is none."""
    found = DIGEST.search(str(profile.logo))
    return found[0] if found else ""


def frozen(profile: ShopProfile) -> dict[str, Any] | None:
    """What a report keeps of the logo: digest and size; None where there is none."""
    digest = digest_now(profile)
    png = png_of(digest)
    if png is None:
        return None
    with Image.open(io.BytesIO(png), formats=["PNG"]) as image:
        return {"digest": digest, "width": image.width, "height": image.height}


def png_of(digest: str) -> bytes | None:
    """A stored logo; None where there is none of that digest, or the file is not what it was."""
    if not DIGEST.fullmatch(digest):
        return None
    try:
        with default_storage.open(_name(digest)) as file:
            png = file.read()
    except FileNotFoundError:
        return None
    return png if hashlib.sha256(png).hexdigest() == digest else None


def logo_source(kept: dict[str, Any] | None) -> str:
    """A frozen logo as a data address, for paper; empty where there is none."""
    png = png_of(kept["digest"]) if kept else None
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}" if png else ""


def _name(digest: str) -> str:
    return f"logo/{digest}.png"
