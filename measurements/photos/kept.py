"""A photo as it came in, made into the picture that is kept; ``shop.pictures`` checks and plains it.

Bytes in, bytes out; no file, no database, no clock.
"""

import hashlib
import io
from dataclasses import dataclass

from django.utils.translation import gettext_noop
from PIL import Image

from shop import pictures
from shop.pictures import Limits, PictureRefusedError, read_picture

MOST_BYTES = 12 * 1024 * 1024
LONGEST_SIDE_PX = 1600
SMALL_SIDE_PX = 400
QUALITY = 85
LIMITS = Limits(
    most_bytes=MOST_BYTES,
    most_pixels=60_000_000,
    longest_px=LONGEST_SIDE_PX,
    again=gettext_noop("Take the photo again"),
    smaller=gettext_noop("Choose a smaller picture size in the camera"),
)

PhotoRefusedError = PictureRefusedError


@dataclass(frozen=True)
class Picture:
    """What is kept: JPEG bytes, their size in pixels, and their SHA-256 in hexadecimal."""

    jpeg: bytes
    width: int
    height: int
    digest: str


def prepare(data: bytes) -> Picture:
    """The picture in a file, upright, in sRGB on white, at most 1600 px long, written anew as JPEG.

    The same bytes give the same picture, so its digest tells a photo that came twice.
    Raises ``PhotoRefusedError`` saying what is wrong and what to do.
    """
    image = read_picture(data, LIMITS)
    jpeg = _written(image)
    return Picture(jpeg, image.width, image.height, hashlib.sha256(jpeg).hexdigest())


def shrink(jpeg: bytes, longest_px: int = SMALL_SIDE_PX) -> bytes:
    """A kept picture made small enough for lists and print; the same bytes give the same."""
    with Image.open(io.BytesIO(jpeg), formats=["JPEG"]) as image:
        image.thumbnail((longest_px, longest_px))
        return _written(image)


def too_large(size_bytes: int) -> str:
    """Why a photo's file is too large."""
    return pictures.too_large(size_bytes, LIMITS)


def _written(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()
