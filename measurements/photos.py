"""A photo as it came in, made into the picture that is kept: checked, upright, small, nothing but a picture.

Bytes in, bytes out; no file, no database, no clock. What a file is called and what the browser says it
is count for nothing: its own first bytes do. Whatever travelled along (place, time, camera, remarks,
colour profile, anything glued to its end) is left behind, since only the picture is written anew.
"""

import hashlib
import io
import warnings
from dataclasses import dataclass

from PIL import Image, ImageCms, ImageFile

FORMATS = ("JPEG", "PNG", "WEBP")
MOST_BYTES = 12 * 1024 * 1024
MOST_PIXELS = 60_000_000
LONGEST_SIDE_PX = 1600
SMALL_SIDE_PX = 400
QUALITY = 85

#: EXIF's orientation (tag 0x0112, EXIF 2.3 §4.6.4) and what turns such a picture upright.
UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
ORIENTATION_TAG = 0x0112

WANTED = "a JPEG, PNG or WebP picture is wanted"
# First bytes of what people send by mistake, and what to do then.
KNOWN = (
    (b"GIF8", f"it is a GIF; {WANTED}. Take the photo with the camera, or save it as JPEG"),
    (b"%PDF", f"it is a PDF document; {WANTED}. Take a photo of the page instead"),
    (b"<", f"it is a drawing or a web page (SVG, HTML); {WANTED}. Save it as PNG first"),
    (b"II*\x00", f"it is a TIFF or a camera's raw file; {WANTED}. Save it as JPEG first"),
    (b"MM\x00*", f"it is a TIFF or a camera's raw file; {WANTED}. Save it as JPEG first"),
)
HEIC_BRANDS = {b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1"}

# Pillow only warns of a bomb at first; here that is as wrong as twice the size.
warnings.filterwarnings("error", category=Image.DecompressionBombWarning)


class PhotoRefusedError(ValueError):
    """A file that is not kept; the message ends a sentence that begins with the file's name."""


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
    if not data:
        raise PhotoRefusedError("it is empty. Take the photo again")
    if len(data) > MOST_BYTES:
        raise PhotoRefusedError(too_large(len(data)))
    image = _opened(data)
    try:
        _unpack(image)
        turn = UPRIGHT.get(_orientation(image))
        image = _plain(_shrunk(image))
    except MemoryError:
        raise
    except Exception as error:  # decoders meet broken files with errors of every kind
        raise PhotoRefusedError(
            "it is damaged or was cut short on its way. Open it, save it anew and add it again"
        ) from error
    if turn is not None:
        image = image.transpose(turn)
    jpeg = _written(image)
    return Picture(jpeg, image.width, image.height, hashlib.sha256(jpeg).hexdigest())


def shrink(jpeg: bytes, longest_px: int = SMALL_SIDE_PX) -> bytes:
    """A kept picture made small enough for lists and print; the same bytes give the same."""
    with Image.open(io.BytesIO(jpeg), formats=["JPEG"]) as image:
        image.thumbnail((longest_px, longest_px))
        return _written(image)


def too_large(size_bytes: int) -> str:
    """Why a file is too large, in whole megabytes rounded so that the figure is over the limit."""
    limit = MOST_BYTES // 2**20
    size = max(-(-size_bytes // 2**20), limit + 1)
    return f"it has {size} MB; at most {limit} MB. Choose a smaller picture size in the camera"


def _opened(data: bytes) -> Image.Image:
    """The picture with only its header read, so that its size is known before it is unpacked."""
    try:
        image = Image.open(io.BytesIO(data), formats=FORMATS)
        pixels = image.width * image.height
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise PhotoRefusedError(_too_many()) from error
    except MemoryError:
        raise
    except Exception as error:  # a header can be broken in more ways than Pillow foresees
        raise PhotoRefusedError(_what_it_is(data)) from error
    if pixels > MOST_PIXELS:
        raise PhotoRefusedError(_too_many())
    return image


def _too_many() -> str:
    return (
        f"it has more than {MOST_PIXELS // 1_000_000} million pixels. "
        "Choose a smaller picture size in the camera"
    )


def _what_it_is(data: bytes) -> str:
    """Why bytes that are no picture are refused, named where they are known."""
    if data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS:
        return (
            "it is a HEIC picture, which not every screen can show. Set the phone's camera to save "
            "JPEG, or share the photo as JPEG"
        )
    start = data[:64].removeprefix(b"\xef\xbb\xbf").lstrip()
    for mark, words in KNOWN:
        if start.startswith(mark):
            return words
    return f"it cannot be read as a picture; {WANTED}. Take the photo again, or save it as JPEG"


def _unpack(image: Image.Image) -> None:
    """Decode all of it; a JPEG at a fraction of its size, which is still twice what is kept."""
    # WeasyPrint lets Pillow read half a picture, in the whole process, once it is imported.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    image.draft(None, (2 * LONGEST_SIDE_PX, 2 * LONGEST_SIDE_PX))
    image.load()


def _orientation(image: Image.Image) -> int:
    """EXIF's orientation; 1 (upright) where there is none or it cannot be read."""
    try:
        return int(image.getexif().get(ORIENTATION_TAG, 1))
    except Exception:  # what a camera wrote beside the picture must not cost the picture
        return 1


def _shrunk(image: Image.Image) -> Image.Image:
    """Made small first, so that all later steps work on a small picture."""
    if image.mode.startswith("I"):  # 16 bits of grey: Pillow's own way to 8 bits would clip
        image = image.convert("I").point(lambda level: level * (1 / 256)).convert("L")
    elif image.mode == "1":
        image = image.convert("L")
    elif image.mode == "P" or (image.has_transparency_data and image.mode not in ("RGBA", "LA")):
        image = image.convert("RGBA")
    image.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), reducing_gap=3.0)
    return image


def _plain(image: Image.Image) -> Image.Image:
    """In sRGB, what is transparent on white; a new picture, which nothing travels along with."""
    alpha = image.getchannel("A") if image.mode in ("RGBA", "LA") else None
    if alpha is not None:
        image = image.convert("RGB" if image.mode == "RGBA" else "L")
    colours = _in_srgb(image)
    plain = Image.new("RGB", colours.size, "white")
    plain.paste(colours, mask=alpha)
    return plain


def _in_srgb(image: Image.Image) -> Image.Image:
    profile = image.info.get("icc_profile")
    if profile:
        try:
            theirs = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            ours = ImageCms.createProfile("sRGB")
            turned = ImageCms.profileToProfile(image, theirs, ours, outputMode="RGB")
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            turned = None  # a profile that is broken or of another kind: the plain colours must do
        if turned is not None:
            return turned
    return image.convert("RGB")


def _written(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()
