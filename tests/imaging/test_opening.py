"""Files are opened safely, upright, in sRGB, and tell when they were taken."""

import contextlib
import io
import tracemalloc
from datetime import datetime, timedelta

import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms

from propagation.imaging.errors import NotAPicture, PictureBroken, PictureEmpty, PictureRefused, PictureTooLarge
from propagation.imaging.opening import open_picture

WIDE, HIGH = 64, 40


def a_picture(mode="RGB"):
    """Red at the top left, green at the top right, blue at the bottom left, grey at the bottom right."""
    pixels = np.zeros((HIGH, WIDE, 3), np.uint8)
    pixels[: HIGH // 2, : WIDE // 2] = (220, 30, 30)
    pixels[: HIGH // 2, WIDE // 2 :] = (30, 200, 30)
    pixels[HIGH // 2 :, : WIDE // 2] = (30, 30, 220)
    pixels[HIGH // 2 :, WIDE // 2 :] = (128, 128, 128)
    return Image.fromarray(pixels).convert(mode)


def saved(picture, kind, **options):
    kept = io.BytesIO()
    picture.save(kept, kind, **options)
    return kept.getvalue()


def exif_of(orientation=1, taken=None, offset=None, focal=None):
    exif = Image.Exif()
    exif[0x0112] = orientation
    folder = exif.get_ifd(0x8769)
    if taken:
        folder[0x9003] = taken
    if offset:
        folder[0x9011] = offset
    if focal:
        folder[0xA405] = focal
    return exif


def is_red(pixel):
    return pixel[0] > 150 and pixel[1] < 90 and pixel[2] < 90


@pytest.mark.parametrize(
    ("kind", "options"),
    [("JPEG", {"quality": 95}), ("PNG", {}), ("WEBP", {"lossless": True}), ("HEIF", {"quality": 95})],
)
def test_every_kind_that_phones_send_opens(kind, options):
    pillow_heif.register_heif_opener()
    opened = open_picture(saved(a_picture(), kind, **options))
    assert opened.format == kind
    assert opened.pixels.shape == (HIGH, WIDE, 3)
    assert opened.pixels.dtype == np.uint8
    assert opened.size_px == (WIDE, HIGH)
    assert is_red(opened.pixels[5, 5])
    assert opened.taken_at is None


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_comes_upright(orientation):
    turns = {
        1: lambda p: p,
        2: lambda p: p[:, ::-1],
        3: lambda p: p[::-1, ::-1],
        4: lambda p: p[::-1],
        5: lambda p: p.transpose(1, 0, 2),
        6: lambda p: np.rot90(p, 1),
        7: lambda p: np.rot90(p, 2).transpose(1, 0, 2),
        8: lambda p: np.rot90(p, -1),
    }
    stored = Image.fromarray(np.ascontiguousarray(turns[orientation](np.array(a_picture()))))
    opened = open_picture(saved(stored, "PNG", exif=exif_of(orientation)))
    np.testing.assert_array_equal(opened.pixels, np.array(a_picture()))
    assert opened.was_turned == (orientation != 1)


def test_when_and_with_what_it_was_taken():
    exif = exif_of(taken="2026:05:14 18:03:22", offset="-03:30", focal=26)
    opened = open_picture(saved(a_picture(), "JPEG", exif=exif))
    assert opened.taken_at == datetime.fromisoformat("2026-05-14T18:03:22")
    assert opened.taken_at.tzinfo is None
    assert opened.utc_offset == -timedelta(hours=3, minutes=30)
    assert opened.focal_35mm == 26


@pytest.mark.parametrize("taken", ["0000:00:00 00:00:00", "    :  :     :  :  ", "yesterday", "1970:01:01 00:00:00"])
def test_a_camera_without_a_clock_tells_no_day(taken):
    opened = open_picture(saved(a_picture(), "JPEG", exif=exif_of(taken=taken, offset="+2")))
    assert opened.taken_at is None
    assert opened.utc_offset is None


def test_a_colour_profile_is_turned_into_srgb():
    lab = ImageCms.createProfile("LAB")
    srgb = ImageCms.createProfile("sRGB")
    as_lab = ImageCms.profileToProfile(a_picture(), srgb, lab, outputMode="LAB")
    assert as_lab.mode == "LAB"
    # A profile whose red and green primaries are exchanged, so that nobody could miss it being ignored.
    profile = bytearray(ImageCms.ImageCmsProfile(srgb).tobytes())
    red, green = profile.find(b"rXYZ"), profile.find(b"gXYZ")
    profile[red : red + 4], profile[green : green + 4] = b"gXYZ", b"rXYZ"
    profile = bytes(profile).replace("sRGB".encode("utf-16-be"), "Odd!".encode("utf-16-be"))
    opened = open_picture(saved(a_picture(), "PNG", icc_profile=profile))
    assert opened.pixels[5, 5, 1] > 180
    assert opened.pixels[5, 5, 0] < 90


def test_a_broken_profile_is_said_and_the_picture_still_opens():
    opened = open_picture(saved(a_picture(), "PNG", icc_profile=b"not a profile" * 20))
    assert is_red(opened.pixels[5, 5])
    assert "profile" in opened.notes[0]


def test_cmyk_grey_palette_deep_and_transparent_pictures_open():
    assert is_red(open_picture(saved(a_picture("CMYK"), "JPEG", quality=95)).pixels[5, 5])
    assert open_picture(saved(a_picture("L"), "PNG")).pixels.shape == (HIGH, WIDE, 3)
    assert is_red(open_picture(saved(a_picture("P"), "PNG")).pixels[5, 5])
    deep = Image.fromarray(np.full((10, 10), 32768, np.uint16))
    assert abs(int(open_picture(saved(deep, "PNG")).pixels[0, 0, 0]) - 128) <= 1
    clear = a_picture("RGBA")
    clear.putalpha(0)
    assert (open_picture(saved(clear, "PNG")).pixels == 255).all()


@pytest.mark.parametrize("kind", ["WEBP", "PNG"])
def test_an_animation_gives_its_first_frame(kind):
    frames = [a_picture(), Image.new("RGB", (WIDE, HIGH), "white"), Image.new("RGB", (WIDE, HIGH), "black")]
    opened = open_picture(saved(frames[0], kind, save_all=True, append_images=frames[1:], duration=100))
    assert opened.frames == 3
    assert is_red(opened.pixels[5, 5])


def test_an_empty_file_is_refused():
    with pytest.raises(PictureEmpty, match="empty"):
        open_picture(b"")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
@pytest.mark.parametrize("share", [0.3, 0.7])
def test_a_file_cut_short_is_refused(kind, share):
    pillow_heif.register_heif_opener()
    noise = Image.fromarray(np.random.default_rng(1).integers(0, 255, (200, 200, 3), dtype=np.uint8))
    data = saved(noise, kind)
    with pytest.raises(PictureRefused) as caught:
        open_picture(data[: int(share * len(data))])
    assert str(caught.value)


def test_a_pdf_named_as_a_picture_is_named_for_what_it_is():
    with pytest.raises(NotAPicture, match="a PDF, not a picture"):
        open_picture(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj")


def test_text_is_no_picture():
    with pytest.raises(NotAPicture, match="JPEG, PNG, HEIC or WebP"):
        open_picture(b"colony,day,size\n" * 50)


def test_kinds_that_nobody_takes_pictures_in_stay_shut():
    with pytest.raises(NotAPicture, match="TIFF"):
        open_picture(saved(a_picture(), "TIFF"))
    with pytest.raises(NotAPicture, match="a GIF"):
        open_picture(saved(a_picture(), "GIF"))


def test_a_bomb_is_refused_before_it_is_unpacked():
    bomb = saved(Image.new("1", (14_000, 10_000)), "PNG")
    assert len(bomb) < 100_000
    tracemalloc.start()
    with pytest.raises(PictureTooLarge, match="14000 × 10000"):
        open_picture(bomb)
    assert tracemalloc.get_traced_memory()[1] < 5_000_000
    tracemalloc.stop()


def test_a_huge_bomb_is_refused_too():
    with pytest.raises(PictureTooLarge):
        open_picture(saved(Image.new("1", (30_000, 20_000)), "PNG"))


def test_bytes_flipped_anywhere_are_refused_or_opened_but_never_anything_else():
    random = np.random.default_rng(3)
    whole = saved(a_picture(), "JPEG", exif=exif_of(6, "2026:05:14 18:03:22"))
    for _ in range(150):
        data = bytearray(whole)
        for place in random.integers(0, len(data), 4):
            data[place] = random.integers(0, 256)
        with contextlib.suppress(NotAPicture, PictureBroken, PictureTooLarge):
            assert open_picture(bytes(data)).pixels.ndim == 3
