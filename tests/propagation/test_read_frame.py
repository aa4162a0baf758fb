"""What a live camera is told: whose label it is aimed at."""

import io

import pytest
import qrcode
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from propagation.codes import in_clear, new_code
from tests.factories import ColonyFactory, PlugFactory

pytestmark = pytest.mark.django_db


def frame(**at):
    """A grey bench of 640 pixels a side with a label at each of these places."""
    bench = Image.new("L", (640, 640), 150)
    for place, text in at.items():
        symbol = qrcode.make(text, box_size=5, border=4).convert("L")
        left = {"left": 10, "middle": 320 - symbol.width // 2, "right": 630 - symbol.width}[place]
        bench.paste(symbol, (left, 320 - symbol.height // 2))
    file = io.BytesIO()
    bench.save(file, "JPEG", quality=85)
    return SimpleUploadedFile("frame.jpg", file.getvalue(), "image/jpeg")


def address(code):
    return f"HTTPS://REEF.EXAMPLE/Q/{code}"


def told(client, **sent):
    answer = client.post(reverse("read_frame"), sent)
    assert answer.status_code == 200
    return answer.json()


def test_the_label_of_a_plug_or_a_colony_is_told_by_its_code(signed_in):
    for one in (PlugFactory(), ColonyFactory()):
        assert told(signed_in, frame=frame(middle=address(one.code))) == {"code": one.code, "says": ""}
        assert told(signed_in, text=address(one.code)) == {"code": one.code, "says": ""}


@pytest.mark.parametrize("aimed_at", ["left", "right"])
def test_of_two_labels_the_one_nearer_to_the_middle_is_meant(signed_in, aimed_at):
    plug, other = PlugFactory.create_batch(2)
    at = {"middle": address(plug.code), aimed_at: address(other.code)}
    # The middle label covers the middle; the other lies beside it.
    assert told(signed_in, frame=frame(**at))["code"] == plug.code


def test_while_nothing_can_be_read_nothing_is_said(signed_in):
    nothing = {"code": "", "says": ""}
    assert told(signed_in, frame=frame()) == nothing
    assert told(signed_in) == nothing


def test_the_label_of_nobody_here_is_named(signed_in):
    code = new_code()
    for sent in ({"text": address(code)}, {"frame": frame(middle=address(code))}):
        answer = told(signed_in, **sent)
        assert answer["code"] == ""
        assert f"There is no plug or colony with the code “{in_clear(code)}”." in answer["says"]


def test_what_is_no_label_is_named(signed_in):
    answer = told(signed_in, text="https://feed.example/coral-food")
    assert answer == {"code": "", "says": "This is “https://feed.example/coral-food”, no label of a plug or a colony."}


def test_what_is_no_picture_is_named(signed_in):
    answer = told(signed_in, frame=SimpleUploadedFile("frame.jpg", b"hello", "image/jpeg"))
    assert "not a picture" in answer["says"]


@pytest.mark.parametrize("text", ["\0", "/" * 5000, "é" * 400, "🐠"])
def test_odd_texts_are_no_labels(signed_in, text):
    assert told(signed_in, text=text)["code"] == ""


def test_it_is_only_asked_by_post_with_the_token(signed_in, keeper):
    assert signed_in.get(reverse("read_frame")).status_code == 405
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(keeper)
    assert strict.post(reverse("read_frame"), {"text": address("K7M42QXP")}).status_code == 403
