"""Photos as they are taken in: known by their bytes, upright, without metadata; what is wrong with the others.

What is in the files that come out is read by small parsers of our own, not by the library that wrote them.
"""

from __future__ import annotations

import struct
from io import BytesIO

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, PngImagePlugin

from coldlash.errors import InputError
from coldlash.logbook import photos
from coldlash.logbook.photos import (
    FILE_MAX,
    JPEG,
    LONG_EDGE,
    PDF,
    PNG,
    SMALL_EDGE,
    WEBP,
    media_type_of,
    small,
    take_in,
    tells_where,
)

PDF_FILE = b"%PDF-1.4\n1 0 obj <</Type/Catalog>> endobj\ntrailer <</Root 1 0 R>>\n%%EOF\n"
CORNERS = ((255, 0, 0), (0, 160, 0), (0, 0, 255), (255, 200, 0))  # clockwise from the upper left


def quarters(width: int, height: int, colours=CORNERS) -> Image.Image:
    """A picture with one colour in each quarter, clockwise from the upper left."""
    image = Image.new("RGB", (width, height))
    boxes = ((0, 0), (width // 2, 0), (width // 2, height // 2), (0, height // 2))
    for colour, (x, y) in zip(colours, boxes, strict=True):
        image.paste(colour, (x, y, x + width // 2, y + height // 2))
    return image


def seen(image: Image.Image):
    """The colours of the quarters, clockwise from the upper left, by the nearest of the four."""
    image = image.convert("RGB")
    w, h = image.size
    at = ((w // 4, h // 4), (3 * w // 4, h // 4), (3 * w // 4, 3 * h // 4), (w // 4, 3 * h // 4))
    return tuple(
        min(CORNERS, key=lambda c: sum((a - b) ** 2 for a, b in zip(c, image.getpixel(xy), strict=True)))
        for xy in at
    )


def opened(data: bytes) -> Image.Image:
    return Image.open(BytesIO(data))


def exif(orientation: int = 1) -> Image.Exif:
    """What a phone writes: orientation, time, place, its name, and a note of its maker."""
    made = Image.Exif()
    made[0x010F], made[0x0112] = "A phone", orientation
    told = made.get_ifd(0x8769)
    told[0x9003], told[0x9011], told[0x927C] = "2024:05:04 09:30:00", "+02:00", b"MAKERNOTE"
    place = made.get_ifd(0x8825)
    place[1], place[2], place[3], place[4] = "N", (54.0, 10.0, 30.0), "E", (7.0, 53.0, 0.0)
    return made


def written(image: Image.Image, kind: str, **how) -> bytes:
    out = BytesIO()
    image.save(out, kind, **how)
    return out.getvalue()


def photo(kind: str, orientation: int = 1, size=(80, 40)) -> bytes:
    return written(quarters(*size), kind, exif=exif(orientation))


# --- small readers of the formats -------------------------------------------------------------------------------


def jpeg_markers(data: bytes) -> list[int]:
    """The markers up to the pixels. Published: ITU-T T.81, B.1.1.3 (marker, then a length that counts itself)."""
    assert data[:2] == b"\xff\xd8"
    found, at = [], 2
    while True:
        assert data[at] == 0xFF
        found.append(data[at + 1])
        if data[at + 1] == 0xDA:
            return found
        at += 2 + struct.unpack(">H", data[at + 2 : at + 4])[0]


def png_chunks(data: bytes) -> list[bytes]:
    """Published: W3C PNG, 5.3 (length, type, data, CRC)."""
    found, at = [], 8
    while at < len(data):
        length = struct.unpack(">I", data[at : at + 4])[0]
        found.append(data[at + 4 : at + 8])
        at += 12 + length
    return found


def webp_chunks(data: bytes) -> list[bytes]:
    """Published: RFC 9649, 2.3 (FourCC, length, data padded to even)."""
    found, at = [], 12
    while at < len(data):
        length = struct.unpack("<I", data[at + 4 : at + 8])[0]
        found.append(data[at : at + 4])
        at += 8 + length + length % 2
    return found


# --- metadata ---------------------------------------------------------------------------------------------------

APP0_JFIF, SOF0, DHT, DQT, SOS = 0xE0, 0xC0, 0xC4, 0xDB, 0xDA


def test_a_jpeg_comes_out_with_nothing_but_what_its_pixels_need():
    source = written(quarters(80, 40), "JPEG", exif=exif(), comment=b"secret", icc_profile=srgb())
    assert {0xE1, 0xE2, 0xFE} <= set(jpeg_markers(source)), "the source must have what is to be left out"
    taken = take_in(source)
    assert set(jpeg_markers(taken.data)) == {APP0_JFIF, DQT, SOF0, DHT, SOS}
    assert taken.media_type == JPEG
    assert taken.data.endswith(b"\xff\xd9")


def test_what_hangs_behind_a_jpeg_is_left_out():
    # Common practice: phones hang a short film behind the picture, with its own place in it.
    assert b"moov" not in take_in(photo("JPEG") + b"....ftypmp42moov....").data


def test_a_png_comes_out_with_nothing_but_pixels():
    notes = PngImagePlugin.PngInfo()
    notes.add_text("Comment", "secret")
    source = written(quarters(80, 40), "PNG", exif=exif(), pnginfo=notes, icc_profile=srgb(), dpi=(72, 72))
    assert {b"eXIf", b"tEXt", b"iCCP", b"pHYs"} <= set(png_chunks(source))
    assert set(png_chunks(take_in(source).data)) == {b"IHDR", b"IDAT", b"IEND"}


def test_a_webp_comes_out_with_nothing_but_pixels():
    source = written(quarters(80, 40), "WEBP", exif=exif(), xmp=b"<x:xmpmeta/>", icc_profile=srgb())
    assert {b"EXIF", b"XMP ", b"ICCP"} <= set(webp_chunks(source))
    assert webp_chunks(take_in(source).data) == [b"VP8 "]


def srgb() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def test_colours_stay_when_their_profile_goes():
    # Derived: under a profile whose red and green primaries are exchanged, full red is a green.
    red = take_in(written(Image.new("RGB", (8, 8), (255, 0, 0)), "PNG", icc_profile=swapped_profile()))
    r, g, _ = opened(red.data).getpixel((4, 4))
    assert g > 200
    assert r < 100


def swapped_profile() -> bytes:
    """An sRGB profile with the tags of its red and green primaries exchanged."""
    data = srgb()
    return data.replace(b"rXYZ", b"????").replace(b"gXYZ", b"rXYZ").replace(b"????", b"gXYZ")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_the_time_it_was_taken_is_kept_in_utc(kind):
    # Derived: 09:30 at +02:00 is 07:30 UTC.
    assert take_in(photo(kind)).taken_at == "2024-05-04T07:30:00.000Z"


def test_a_time_without_a_zone_is_this_computers(monkeypatch):
    import time

    monkeypatch.setenv("TZ", "UTC-3")  # POSIX: three hours east
    time.tzset()
    try:
        made = exif()
        del made.get_ifd(0x8769)[0x9011]
        assert take_in(written(quarters(8, 8), "JPEG", exif=made)).taken_at == "2024-05-04T06:30:00.000Z"
    finally:
        monkeypatch.undo()
        time.tzset()


@pytest.mark.parametrize("told", ["0000:00:00 00:00:00", "    :  :     :  :  ", "yesterday", ""])
def test_a_camera_without_a_clock_tells_no_time(told):
    made = Image.Exif()
    made.get_ifd(0x8769)[0x9003] = told
    assert take_in(written(quarters(8, 8), "JPEG", exif=made)).taken_at is None


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_kept_as_it_is_means_byte_by_byte_with_the_place(kind):
    source = photo(kind, orientation=6)
    taken = take_in(source, keep=True)
    assert taken.data == source
    assert (taken.width, taken.height) == (40, 80), "as it is to be seen"
    assert tells_where(taken.data)
    assert not tells_where(take_in(source).data)


def test_a_place_in_xmp_is_seen_too_and_a_pdf_is_not_looked_into():
    assert tells_where(written(quarters(8, 8), "WEBP", xmp=b'<x exif:GPSLatitude="54,10N"/>'))
    assert not tells_where(PDF_FILE)
    assert tells_where(b"\xff\xd8\xffbroken"), "what can't be read may tell anything"


# --- orientation ------------------------------------------------------------------------------------------------

# Published: Exif 2.32, 4.6.5.1.1, tag Orientation: where the 0th row and the 0th column of the file are to be seen
# (1: top, left; 2: top, right; 3: bottom, right; 4: bottom, left; 5: left, top; 6: right, top; 7: right, bottom;
# 8: left, bottom). The corners of the file, clockwise from its first pixel, are then seen, clockwise from the upper
# left, in this order.
A, B, C, D = CORNERS
UPRIGHT = {
    1: (A, B, C, D), 2: (B, A, D, C), 3: (C, D, A, B), 4: (D, C, B, A),
    5: (A, D, C, B), 6: (D, A, B, C), 7: (C, B, A, D), 8: (B, C, D, A),
}  # fmt: skip


@pytest.mark.parametrize("orientation", UPRIGHT)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_picture_is_turned_upright(kind, orientation):
    taken = take_in(photo(kind, orientation, size=(160, 80)))
    image = opened(taken.data)
    assert seen(image) == UPRIGHT[orientation]
    assert image.size == (taken.width, taken.height) == ((80, 160) if orientation >= 5 else (160, 80))
    assert not image.getexif()
    assert seen(opened(small(photo(kind, orientation, size=(160, 80))))) == UPRIGHT[orientation]


# --- sizes and kinds --------------------------------------------------------------------------------------------


def test_a_large_picture_is_made_smaller_and_keeps_its_shape():
    taken = take_in(written(quarters(4000, 2000), "PNG"))
    assert (taken.width, taken.height) == (LONG_EDGE, LONG_EDGE // 2) == opened(taken.data).size
    assert seen(opened(taken.data)) == CORNERS
    assert take_in(written(quarters(100, 50), "PNG")).width == 100, "a small one stays as large as it is"


def test_a_picture_in_small_is_a_jpeg_of_the_stated_edge():
    image = opened(small(written(quarters(2000, 1000), "WEBP")))
    assert (image.format, image.size) == ("JPEG", (SMALL_EDGE, SMALL_EDGE // 2))


def test_a_ground_to_see_through_stays_in_png_and_turns_white_in_small():
    clear = Image.new("RGBA", (20, 20), (255, 0, 0, 0))
    taken = take_in(written(clear, "PNG"))
    assert opened(taken.data).convert("RGBA").getpixel((5, 5))[3] == 0
    assert min(opened(small(written(clear, "PNG"))).getpixel((5, 5))) > 250


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGBA", "I;16", "CMYK"])
def test_pictures_of_every_kind_of_pixel_are_taken(mode):
    kind = "JPEG" if mode == "CMYK" else "PNG"
    image = Image.new(mode, (30, 20), 40_000 if mode == "I;16" else None)
    taken = take_in(written(image, kind))
    assert opened(taken.data).mode in ("L", "RGB", "RGBA")
    if mode == "I;16":
        # Derived: 40,000 of 65,535 in 8 bits is 156.
        assert opened(taken.data).getpixel((3, 3)) == 156


def test_an_animation_keeps_its_first_picture():
    first, second = Image.new("RGB", (20, 20), "red"), Image.new("RGB", (20, 20), "blue")
    taken = take_in(written(first, "WEBP", save_all=True, append_images=[second]))
    assert webp_chunks(taken.data) == [b"VP8 "]
    r, _, b = opened(taken.data).getpixel((10, 10))
    assert r > 200 > b


def test_a_pdf_stays_byte_by_byte():
    taken = take_in(PDF_FILE)
    assert (taken.media_type, taken.data, taken.width, taken.taken_at) == (PDF, PDF_FILE, None, None)
    with pytest.raises(InputError, match="this PDF is cut short; send it again"):
        take_in(PDF_FILE[:-8])
    with pytest.raises(InputError, match="a PDF has no picture to show in small"):
        small(PDF_FILE)


def test_what_a_file_is_is_known_by_its_bytes():
    assert media_type_of(photo("JPEG")) == JPEG
    assert media_type_of(photo("PNG")) == PNG
    assert media_type_of(photo("WEBP")) == WEBP
    assert media_type_of(PDF_FILE) == PDF


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "this file is empty"),
        # Published: ISO/IEC 23008-12, B.4.1: the brands of HEIF.
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", 'HEIC photo.*set the phone\'s camera to take JPEG.*"most compatible"'),
        (b"\0\0\0\x18ftypmif1\0\0\0\0", "HEIC photo"),
        (b"GIF89a" + bytes(20), "this is a GIF file; send it as JPEG, PNG, WebP or PDF"),
        (b"II*\0" + bytes(20), "this is a TIFF file"),
        (b"MM\0*" + bytes(20), "this is a TIFF file"),
        (b"BM" + bytes(20), "this is a BMP file"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no photo or scan that can be kept"),
        (b"<html><script>alert(1)</script>", "no photo or scan that can be kept"),
        (b"PK\3\4" + bytes(30), "no photo or scan that can be kept"),
    ],
)  # fmt: skip
def test_other_files_are_refused_with_what_to_do(data, says):
    with pytest.raises(InputError, match=says):
        take_in(data)
    with pytest.raises(InputError, match=says):
        take_in(data, keep=True)


def test_a_file_that_is_too_large_is_refused_before_it_is_looked_at():
    with pytest.raises(
        InputError, match="this file has more than 25 MB, the most that is taken; send it smaller"
    ):
        take_in(b"\xff\xd8\xff" + bytes(FILE_MAX))


@pytest.mark.parametrize("keep", [False, True])
def test_a_small_file_that_unfolds_into_too_many_pixels_is_refused(keep):
    bomb = written(Image.new("1", (8000, 7600)), "PNG")
    assert len(bomb) < 100_000
    with pytest.raises(InputError, match=r"has 61 million pixels \(8000 x 7600\); 60 million is the most"):
        take_in(bomb, keep=keep)


@pytest.mark.parametrize("keep", [False, True])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_picture_that_was_cut_short_is_refused(kind, keep):
    whole = written(Image.effect_noise((200, 150), 80), kind)
    for part in (0.1, 0.5, 0.9, 0.98):
        with pytest.raises(InputError, match=r"damaged or cut short \(\d+ bytes arrived\); send it again"):
            take_in(whole[: int(len(whole) * part)], keep=keep)


@settings(max_examples=150, deadline=None)
@given(
    kind=st.sampled_from(["JPEG", "PNG", "WEBP"]),
    changes=st.lists(st.tuples(st.floats(0, 0.999), st.integers(0, 255)), min_size=1, max_size=8),
)
def test_a_damaged_picture_is_refused_or_comes_out_whole(kind, changes):
    data = bytearray(photo(kind, 6))
    for where, value in changes:
        data[int(where * len(data))] = value
    try:
        taken = take_in(bytes(data))
    except InputError:
        return
    if taken.media_type == PDF:
        return
    image = opened(taken.data)
    image.load()
    assert image.size == (taken.width, taken.height)
    assert not tells_where(taken.data)


def test_metadata_that_cannot_be_read_does_not_cost_the_picture(monkeypatch):
    def broken(self):
        raise ValueError("no such offset")

    monkeypatch.setattr(Image.Image, "getexif", broken)
    taken = take_in(written(quarters(40, 20), "PNG"))
    assert (taken.width, taken.height, taken.taken_at) == (40, 20, None)


def test_the_same_photo_comes_out_the_same_each_time():
    assert take_in(photo("JPEG")) == take_in(photo("JPEG"))
    assert take_in(photo("JPEG")).sha256 == take_in(photo("JPEG")).sha256
    assert photos.ENDINGS.keys() == {JPEG, PNG, WEBP, PDF}
