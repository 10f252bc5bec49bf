"""Pictures from outside, checked before they are unpacked and made plain: upright, small, no more.

Bytes in, a picture out; no file, no database, no clock. What a file is called and what the browser says
it is count for nothing: its own first bytes do.
"""

import io
import warnings
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from PIL import Image, ImageCms, ImageFile

FORMATS = ("JPEG", "PNG", "WEBP")

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

TIFF = gettext_noop(
    "it is a TIFF or a camera's raw file; a JPEG, PNG or WebP picture is wanted. Save it as JPEG first"
)
# First bytes of what people send by mistake, and what to do then.
KNOWN = (
    (
        b"GIF8",
        gettext_noop(
            "it is a GIF; a JPEG, PNG or WebP picture is wanted. Take the photo with the camera, or "
            "save it as JPEG"
        ),
    ),
    (
        b"%PDF",
        gettext_noop(
            "it is a PDF document; a JPEG, PNG or WebP picture is wanted. Take a photo of the page "
            "instead"
        ),
    ),
    (
        b"<",
        gettext_noop(
            "it is a drawing or a web page (SVG, HTML); a JPEG, PNG or WebP picture is wanted. Save "
            "it as PNG first"
        ),
    ),
    (b"II*\x00", TIFF),
    (b"MM\x00*", TIFF),
)
HEIC_BRANDS = {b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1"}

# Pillow only warns of a bomb at first; here that is as wrong as twice the size.
warnings.filterwarnings("error", category=Image.DecompressionBombWarning)


class PictureRefusedError(ValueError):
    """A file that is not kept; the message ends a sentence that begins with the file's name."""


@dataclass(frozen=True)
class Limits:
    """How large a file may be and how large its picture is kept, with what to do about those that are not.

    ``again`` and ``smaller`` are sentences marked for translation, in the language of the code.
    """

    most_bytes: int
    most_pixels: int
    longest_px: int
    again: str
    smaller: str


def read_picture(data: bytes, limits: Limits) -> Image.Image:
    """The picture in a file, upright, in sRGB on white, at most ``limits.longest_px`` long.

    It is a new picture: place, time, camera, remarks, colour profile and anything glued to the file's
    end stay behind. Raises ``PictureRefusedError`` saying what is wrong and what to do.
    """
    if not data:
        raise PictureRefusedError(_("it is empty. %(again)s") % {"again": _(limits.again)})
    if len(data) > limits.most_bytes:
        raise PictureRefusedError(too_large(len(data), limits))
    image = _opened(data, limits)
    try:
        _unpack(image, limits)
        turn = UPRIGHT.get(_orientation(image))
        image = _plain(_shrunk(image, limits))
    except MemoryError:
        raise
    except Exception as error:  # decoders meet broken files with errors of every kind
        raise PictureRefusedError(
            _("it is damaged or was cut short on its way. Open it, save it anew and add it again")
        ) from error
    return image if turn is None else image.transpose(turn)


def too_large(size_bytes: int, limits: Limits) -> str:
    """Why a file is too large, in whole megabytes rounded so that the figure is over the limit."""
    limit = limits.most_bytes // 2**20
    size = max(-(-size_bytes // 2**20), limit + 1)
    return _("it has %(size)s MB; at most %(limit)s MB. %(smaller)s") % {
        "size": size,
        "limit": limit,
        "smaller": _(limits.smaller),
    }


def _opened(data: bytes, limits: Limits) -> Image.Image:
    """The picture with only its header read, so that its size is known before it is unpacked."""
    try:
        image = Image.open(io.BytesIO(data), formats=FORMATS)
        pixels = image.width * image.height
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise PictureRefusedError(_too_many(limits)) from error
    except MemoryError:
        raise
    except Exception as error:  # a header can be broken in more ways than Pillow foresees
        raise PictureRefusedError(_what_it_is(data, limits)) from error
    if pixels > limits.most_pixels:
        raise PictureRefusedError(_too_many(limits))
    return image


def _too_many(limits: Limits) -> str:
    return _("it has more than %(limit)s million pixels. %(smaller)s") % {
        "limit": limits.most_pixels // 1_000_000,
        "smaller": _(limits.smaller),
    }


def _what_it_is(data: bytes, limits: Limits) -> str:
    """Why bytes that are no picture are refused, named where they are known."""
    if data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS:
        return _(
            "it is a HEIC picture, which not every screen can show. Set the phone's camera to save "
            "JPEG, or share the photo as JPEG"
        )
    start = data[:64].removeprefix(b"\xef\xbb\xbf").lstrip()
    for mark, words in KNOWN:
        if start.startswith(mark):
            return _(words)
    return _(
        "it cannot be read as a picture; a JPEG, PNG or WebP picture is wanted. %(again)s, or save it "
        "as JPEG"
    ) % {"again": _(limits.again)}


def _unpack(image: Image.Image, limits: Limits) -> None:
    """Decode all of it; a JPEG at a fraction of its size, which is still twice what is kept."""
    # WeasyPrint lets Pillow read half a picture, in the whole process, once it is imported.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    image.draft(None, (2 * limits.longest_px, 2 * limits.longest_px))
    image.load()


def _orientation(image: Image.Image) -> int:
    """EXIF's orientation; 1 (upright) where there is none or it cannot be read."""
    try:
        return int(image.getexif().get(ORIENTATION_TAG, 1))
    except Exception:  # what a camera wrote beside the picture must not cost the picture
        return 1


def _shrunk(image: Image.Image, limits: Limits) -> Image.Image:
    """Made small first, so that all later steps work on a small picture."""
    if image.mode.startswith("I"):  # 16 bits of grey: Pillow's own way to 8 bits would clip
        image = image.convert("I").point(lambda level: level * (1 / 256)).convert("L")
    elif image.mode == "1":
        image = image.convert("L")
    elif image.mode == "P" or (image.has_transparency_data and image.mode not in ("RGBA", "LA")):
        image = image.convert("RGBA")
    image.thumbnail((limits.longest_px, limits.longest_px), reducing_gap=3.0)
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
