"""A photo or a scanned page as it is taken in: known by its bytes, seen to be whole, turned upright, no metadata.

What a camera writes beside the picture (where it was taken, its serial number, a small copy of the picture before
it was cut) is left behind: the pixels are written into a new file. Only the time is read, for ``taken_at``. With
``keep`` the file is kept byte by byte, once it is known to be whole. A PDF is always kept byte by byte.

Sources: JPEG: ITU-T T.81; PNG: W3C; WebP: RFC 9649; PDF header and %%EOF: ISO 32000-1, 7.5.2 and 7.5.5; "ftyp" of
HEIF: ISO/IEC 23008-12; Orientation, DateTimeOriginal and OffsetTimeOriginal: Exif 2.32 (CIPA DC-008).
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import lru_cache
from io import BytesIO
from typing import TYPE_CHECKING, Any, TypeVar

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.logbook.records import utc_text

if TYPE_CHECKING:
    from PIL.Image import Image

T = TypeVar("T")

FILE_MAX = 25 * 2**20
"""The largest file that is taken in, bytes."""
PIXELS_MAX = 60_000_000
"""The most pixels a picture may have: a small file can unfold into more than any memory holds."""
LONG_EDGE = 2560
"""Longer pictures are made this long, pixels."""
SMALL_EDGE = 480
"""The long edge of a picture in a list, pixels."""
QUALITY = 90

JPEG, PNG, WEBP, PDF = "image/jpeg", "image/png", "image/webp", "application/pdf"
FORMATS = {JPEG: "JPEG", PNG: "PNG", WEBP: "WEBP"}
ENDINGS = {JPEG: ".jpg", PNG: ".png", WEBP: ".webp", PDF: ".pdf"}
_HEIF = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
_OTHERS = ((b"GIF8", "GIF"), (b"II*\0", "TIFF"), (b"MM\0*", "TIFF"), (b"BM", "BMP"), (b"\0\0\x01\0", "ICO"))
_EXIF, _ORIENTATION, _TAKEN, _OFFSET, _GPS = 0x8769, 0x0112, 0x9003, 0x9011, 0x8825


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A photo or scan ready to be kept. ``width`` and ``height``: upright, pixels; None for a PDF.

    ``taken_at``: when the camera says it was taken, ISO-8601 text in UTC, or None.
    """

    media_type: str
    data: bytes = field(repr=False)
    width: int | None
    height: int | None
    taken_at: str | None

    @property
    def sha256(self) -> str:
        """Of the bytes, hexadecimal."""
        return hashlib.sha256(self.data).hexdigest()


def media_type_of(data: bytes) -> str:
    """What the bytes say they are; a name says nothing. Raises InputError for anything that isn't taken."""
    if data.startswith(b"\xff\xd8\xff"):
        return JPEG
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return PNG
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return WEBP
    if data.startswith(b"%PDF-"):
        return PDF
    if not data:
        raise InputError(say("this file is empty; choose the photo again"))
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF:
        raise InputError(
            say(
                "this is a HEIC photo, which most browsers can't show; set the phone's camera to take JPEG "
                '(often called "most compatible"), or choose the photo on this page with the phone itself: it '
                "then sends a JPEG"
            )
        )
    for start, name in _OTHERS:
        if data.startswith(start):
            raise InputError(say("this is a {format} file; send it as JPEG, PNG, WebP or PDF", format=name))
    raise InputError(say("this is no photo or scan that can be kept; send a JPEG, PNG, WebP or PDF file"))


def take_in(data: bytes, *, keep: bool = False) -> Taken:
    """A file made ready for the book.

    A picture is turned upright, made ``LONG_EDGE`` long at most, and written anew without metadata; a transparent
    ground stays, an animation keeps its first picture. ``keep``: its bytes stay as they are, with where it was taken.
    Raises InputError: too large, no format that is taken, damaged or cut short.
    """
    if len(data) > FILE_MAX:
        raise InputError(
            say(
                "this file has more than {most:.0f} MB, the most that is taken; send it smaller",
                most=FILE_MAX / 2**20,
            )
        )
    media_type = media_type_of(data)
    if media_type == PDF:
        if b"%%EOF" not in data[-1024:]:
            raise InputError(say("this PDF is cut short; send it again"))
        return Taken(media_type=PDF, data=data, width=None, height=None, taken_at=None)
    return _looked_at(data, lambda: _picture(data, media_type, keep))


def small(data: bytes, edge: int = SMALL_EDGE) -> bytes:
    """A picture in small, as JPEG, upright, for lists. Raises InputError for what is no picture."""
    media_type = media_type_of(data)
    if media_type == PDF:
        raise InputError(say("a PDF has no picture to show in small"))

    def made() -> bytes:
        image = _opened(data, media_type)
        return _written(_flat(_upright(image, _exif(image), edge)), JPEG, quality=80)

    return _looked_at(data, made)


def tells_where(data: bytes) -> bool:
    """Does a kept picture still say where it was taken (GPS in Exif or XMP)? Of a PDF: never known, so False."""
    if data.startswith(b"%PDF-"):
        return False
    if b"GPSLatitude" in data or b"GPSCoordinates" in data:
        return True

    def looked() -> bool:
        return bool(dict(_exif(_opened(data, media_type_of(data))).get_ifd(_GPS)))

    try:
        return _looked_at(data, looked)
    except InputError:
        return True  # not known; the careful answer


def _looked_at(data: bytes, work: Callable[[], T]) -> T:
    try:
        return work()
    except InputError:
        raise
    except Exception as error:
        # Decoders raise errors of many kinds on broken files (OSError, SyntaxError, ValueError, struct.error, ...).
        raise InputError(
            say(
                "this picture is damaged or cut short ({bytes} bytes arrived); send it again", bytes=len(data)
            )
        ) from error


def _opened(data: bytes, media_type: str) -> Image:
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None  # it would warn for some sizes and refuse others; ours is one limit
    image = Image.open(BytesIO(data), formats=[FORMATS[media_type]])
    width, height = image.size
    if width * height > PIXELS_MAX:
        raise InputError(
            say(
                "this picture has {pixels:.0f} million pixels ({width} x {height}); {most:.0f} million is the "
                "most; send it smaller",
                pixels=width * height / 1e6,
                width=width,
                height=height,
                most=PIXELS_MAX / 1e6,
            )
        )
    return image


def _picture(data: bytes, media_type: str, keep: bool) -> Taken:
    image = _opened(data, media_type)
    exif = _exif(image)
    taken_at = _taken_at(exif)
    if keep:
        image.load()  # all of it: a picture that was cut short is refused
        width, height = image.size
        if exif.get(_ORIENTATION) in (5, 6, 7, 8):
            width, height = height, width
        return Taken(media_type=media_type, data=data, width=width, height=height, taken_at=taken_at)
    upright = _upright(image, exif, LONG_EDGE)
    if media_type == JPEG:
        upright = _flat(upright)
    made = _written(upright, media_type, quality=QUALITY)
    width, height = upright.size
    return Taken(media_type=media_type, data=made, width=width, height=height, taken_at=taken_at)


def _exif(image: Image) -> Any:
    from PIL import Image as Pictures

    try:
        exif = image.getexif()
        exif.get(_ORIENTATION)
    except Exception:
        # Metadata that can't be read says nothing; the picture may be whole all the same.
        return Pictures.Exif()
    return exif


def _upright(image: Image, exif: Any, edge: int) -> Image:
    """A new picture with nothing but pixels: upright, at most ``edge`` long, in sRGB, gray or with a ground to see
    through."""
    from PIL import Image as Pictures

    profile = image.info.get("icc_profile")
    if image.mode in ("P", "PA", "La", "RGBa", "LA") or "transparency" in image.info:
        image = image.convert("RGBA")
    elif image.mode.startswith("I") or image.mode == "F":
        image = _eight_bits(image)
    elif image.mode == "1":
        image = image.convert("L")
    image.thumbnail((edge, edge), Pictures.Resampling.LANCZOS)
    image.load()
    if profile:
        image = _in_srgb(image, profile)
    if image.mode not in ("L", "RGB", "RGBA"):
        image = image.convert("RGB")
    turn = _TURNS.get(exif.get(_ORIENTATION))
    if turn is not None:
        image = image.transpose(Pictures.Transpose[turn])
    fresh = Pictures.new(image.mode, image.size)
    fresh.paste(image)
    return fresh


_TURNS = {
    2: "FLIP_LEFT_RIGHT",
    3: "ROTATE_180",
    4: "FLIP_TOP_BOTTOM",
    5: "TRANSPOSE",
    6: "ROTATE_270",
    7: "TRANSVERSE",
    8: "ROTATE_90",
}
"""What makes a picture upright, by its Exif orientation."""


def _eight_bits(image: Image) -> Image:
    """A gray picture of 16 bits (a scanner's) in 8."""
    if image.mode.startswith("I;16"):
        return image.convert("I").point(lambda value: value * (1 / 256)).convert("L")
    return image.convert("L")


def _in_srgb(image: Image, profile: bytes) -> Image:
    """The same colours without the camera's colour profile, which is metadata as well."""
    from PIL import ImageCms

    mode = "RGBA" if image.mode == "RGBA" else "RGB"
    try:
        turned = ImageCms.profileToProfile(
            image, ImageCms.ImageCmsProfile(BytesIO(profile)), _srgb(), outputMode=mode
        )
    except Exception:  # a profile that can't be read; the numbers stay as they are
        return image
    return image if turned is None else turned


@lru_cache(maxsize=1)
def _srgb() -> Any:
    from PIL import ImageCms

    return ImageCms.createProfile("sRGB")


def _flat(image: Image) -> Image:
    """On white where it could be seen through: JPEG has no ground."""
    from PIL import Image as Pictures

    if image.mode != "RGBA":
        return image
    ground = Pictures.new("RGB", image.size, "white")
    ground.paste(image, mask=image.getchannel("A"))
    return ground


def _written(image: Image, media_type: str, *, quality: int) -> bytes:
    out = BytesIO()
    if media_type == PNG:
        image.save(out, "PNG", optimize=False)
    elif media_type == WEBP:
        image.save(out, "WEBP", quality=quality, method=4)
    else:
        image.save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()


def _taken_at(exif: Any) -> str | None:
    """When it was taken. A time without a zone is read as this computer's: the phone and the book stand in one shed."""
    try:
        told = exif.get_ifd(_EXIF)
        moment = datetime.strptime(str(told[_TAKEN]).strip("\0 "), "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007
        offset = str(told.get(_OFFSET, "")).strip("\0 ")
        if offset:
            moment = datetime.fromisoformat(f"{moment.isoformat()}{offset}")
        return utc_text(moment.astimezone(UTC))
    except Exception:
        # Cameras without a clock write blanks, zeros or nothing.
        return None
