"""Codes in a photo of labels."""

import io

import pytest
import qrcode
from PIL import Image

from propagation import codes
from propagation.errors import NoCodeInPicture, PictureUnreadable
from propagation.readings import picture_codes
from propagation.readings.picture_codes import codes_in_picture
from tests.propagation.photo_samples import as_file, as_heic, bomb, picture

pytestmark = pytest.mark.no_database


def symbol(text):
    return qrcode.make(text, box_size=6, border=4).convert("L")


def photo(*texts, file_format="JPEG", turned=0, size=(1200, 900)):
    """A grey bench with labels on it from left to right."""
    bench = Image.new("L", size, 150)
    for number, text in enumerate(texts):
        bench.paste(symbol(text), (60 + 320 * number, 200))
    file = io.BytesIO()
    bench.rotate(turned, expand=True, fillcolor=150).save(file, file_format)
    return file.getvalue()


@pytest.mark.parametrize("file_format", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("turned", [0, 17, 90, 180])
def test_the_code_on_a_label_is_read_however_the_phone_is_held(file_format, turned):
    code = codes.new_code()
    assert codes_in_picture(photo(f"HTTPS://REEF.EXAMPLE/Q/{code}", file_format=file_format, turned=turned)) == [code]


def test_every_label_in_the_picture_is_read_once_in_the_order_of_reading():
    first, second = codes.new_code(), codes.new_code()
    data = photo(*(f"HTTPS://REEF.EXAMPLE/Q/{code}" for code in (first, second, first)))
    assert codes_in_picture(data) == [first, second]


def test_a_code_alone_or_in_lower_case_is_read_too():
    code = codes.new_code()
    assert codes_in_picture(photo(code)) == [code]
    assert codes_in_picture(photo(f"http://reef.example/q/{code.lower()}")) == [code]


def test_a_code_of_somebody_else_next_to_the_label_is_passed_over():
    code = codes.new_code()
    assert codes_in_picture(photo("https://else.example/hello", f"HTTPS://REEF.EXAMPLE/Q/{code}")) == [code]


def test_only_a_code_of_somebody_else_is_named_as_such():
    with pytest.raises(NoCodeInPicture, match="not from a label"):
        codes_in_picture(photo("https://else.example/hello"))


def test_a_picture_without_a_code_says_how_to_take_a_better_one():
    with pytest.raises(NoCodeInPicture, match=r"it is blurred\. Hold still.* type the code\."):
        codes_in_picture(photo())


def test_a_label_in_a_heic_photo_is_read_in_coloured_light_and_upside_down():
    code = codes.new_code()
    pixels = picture(f"HTTPS://REEF.EXAMPLE/Q/{code}", cast=(0.25, 0.45, 1.0)).pixels
    assert codes_in_picture(as_heic(as_file(pixels, turned=3))) == [code]


@pytest.mark.parametrize("data", [b"not a picture at all", b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"%PDF-1.7"])
def test_a_file_that_is_no_picture_is_named(data):
    with pytest.raises(PictureUnreadable, match="not a picture"):
        codes_in_picture(data)


def test_an_empty_file_is_named():
    with pytest.raises(PictureUnreadable, match="empty"):
        codes_in_picture(b"")


@pytest.mark.parametrize("file_format", ["JPEG", "PNG"])
def test_a_picture_cut_short_is_named(file_format):
    data = photo(codes.new_code(), file_format=file_format)
    with pytest.raises(PictureUnreadable, match="broken"):
        codes_in_picture(data[: len(data) // 2])


def test_a_picture_of_too_many_pixels_is_refused_before_it_is_unpacked():
    with pytest.raises(PictureUnreadable, match="too many pixels; up to 120 million are taken"):
        codes_in_picture(bomb())


def test_a_file_that_is_too_large_is_refused(monkeypatch):
    monkeypatch.setattr(picture_codes, "MOST_BYTES", 1024**2)
    with pytest.raises(PictureUnreadable, match="more than the 1 MB"):
        codes_in_picture(b"\xff" * 2 * 1024**2)


def test_a_label_in_a_large_photo_is_still_read():
    code = codes.new_code()
    assert codes_in_picture(photo(f"HTTPS://REEF.EXAMPLE/Q/{code}", size=(5000, 3700))) == [code]
