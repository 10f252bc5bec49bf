"""Pictures for tests: made here, right or wrong in one known way."""

import io
import struct
import zlib

from PIL import Image

RED, BLUE = (200, 30, 30), (30, 30, 200)


def encoded(image: Image.Image, form: str = "JPEG", **options) -> bytes:
    out = io.BytesIO()
    image.save(out, form, **options)
    return out.getvalue()


def halves(width: int = 80, height: int = 40) -> Image.Image:
    """Red above, blue below."""
    image = Image.new("RGB", (width, height), BLUE)
    image.paste(RED, (0, 0, width, height // 2))
    return image


def photo(form: str = "JPEG", **options) -> bytes:
    return encoded(halves(), form, **options)


def another(n: int) -> bytes:
    """A picture unlike the others."""
    return encoded(Image.new("RGB", (40, 30), (n * 11 % 256, n * 7 % 256, 90)))


def turned(orientation: int, image: Image.Image | None = None) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = orientation
    return encoded(image or halves(), exif=exif)


def located() -> bytes:
    """With a camera, a moment, a place (latitude 53° N) and a remark, as phones write them."""
    exif = Image.Exif()
    exif[0x010F] = "Some camera"
    exif[0x0132] = "2026:05:04 10:00:00"
    exif.get_ifd(0x8825).update({1: "N", 2: (53.0, 20.0, 30.0), 3: "W", 4: (6.0, 15.0, 0.0)})
    return encoded(halves(), exif=exif, comment=b"my home", dpi=(300, 300))


def png_claiming(width: int, height: int) -> bytes:
    """A PNG of a few bytes whose header claims any size (PNG specification, 11.2.2 IHDR)."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0" * 1000))
        + chunk(b"IEND", b"")
    )


def looks(image: Image.Image, place: tuple[int, int]) -> str:
    red, _, blue = image.convert("RGB").getpixel(place)
    return "red" if red > blue else "blue"
