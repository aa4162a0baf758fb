"""``manage.py measure``: a coral in a photo, in the records or not."""

import io
import json

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from tests.factories import ColonyFactory, PlugFactory
from tests.propagation.photo_samples import as_file, picture, picture_of, printed


@pytest.fixture
def file(tmp_path):
    def write(data, name="photo.jpg"):
        path = tmp_path / name
        path.write_bytes(data)
        return str(path)

    return write


def measure(*arguments, **options):
    out = io.StringIO()
    call_command("measure", *arguments, json=True, stdout=out, **options)
    return json.loads(out.getvalue())


def outline_of(drawn, file):
    return file(json.dumps(drawn.outline_px.tolist()).encode(), "outline.json")


def test_a_photo_that_is_in_no_record_is_measured_by_the_side_that_is_given(file):
    drawn = picture("HTTPS://RAMET.EXAMPLE/Q/ABC")
    said = measure(file(as_file(drawn.pixels)), label_mm="12", outline=outline_of(drawn, file))
    assert set(said) >= {
        "code", "label_mm", "area_mm2", "longest_mm", "sd", "outline_px", "px_per_mm", "tilt_deg", "colour_lab",
    }  # fmt: skip
    assert said["label_mm"] == 12
    assert said["area_mm2"] == pytest.approx(drawn.area_mm2, abs=4 * said["sd"]["area_mm2"])
    assert said["longest_mm"] == pytest.approx(drawn.longest_mm, abs=4 * said["sd"]["longest_mm"])
    assert said["px_per_mm"] == pytest.approx(drawn.px_per_mm, rel=0.03)
    assert len(said["outline_px"]) == len(drawn.outline_px)


@pytest.mark.django_db
def test_the_side_is_in_the_print_record(file):
    colony = ColonyFactory()
    side = printed(colony)[colony.code]
    drawn = picture_of(colony, label_mm=side)
    said = measure(file(as_file(drawn.pixels)), outline=outline_of(drawn, file))
    assert (said["code"], said["label_mm"]) == (colony.code, float(side))
    assert said["area_mm2"] == pytest.approx(drawn.area_mm2, abs=4 * said["sd"]["area_mm2"])


def test_a_box_is_enough(file):
    drawn = picture("HTTPS://RAMET.EXAMPLE/Q/ABC", px_per_module=9.0)
    low, high = drawn.outline_px.min(axis=0), drawn.outline_px.max(axis=0)
    margin = 0.05 * (high - low)
    box = ",".join(f"{value:.1f}" for value in (*(low - margin), *(high + margin)))
    said = measure(file(as_file(drawn.pixels)), label_mm="12", box=box)
    assert said["area_mm2"] == pytest.approx(drawn.area_mm2, rel=0.08)
    assert np.array(said["outline_px"]).shape[1] == 2


@pytest.mark.django_db
def test_a_code_that_was_never_printed_needs_its_side(file):
    plug = PlugFactory()
    drawn = picture_of(plug)
    with pytest.raises(CommandError, match="is not in the print record; give it with --label-mm"):
        measure(file(as_file(drawn.pixels)), outline=outline_of(drawn, file))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"label_mm": "twelve"}, "“twelve” is no side"),
        ({"label_mm": "0"}, "“0” is no side"),
        ({"label_mm": "12", "box": "1,2,3"}, "“1,2,3” is no box"),
        ({"label_mm": "12", "outline": "/nowhere.json"}, "“/nowhere.json” cannot be read"),
        ({"label_mm": "12", "box": "1,1,9,9", "outline": "x.json"}, "not both"),
        ({"label_mm": "12", "code": "K7M42QXP"}, "The code K7M42QXP is not in the picture"),
    ],
)
def test_what_is_wrong_is_said(file, arguments, words):
    with pytest.raises(CommandError, match=words):
        measure(file(as_file(picture("HTTPS://RAMET.EXAMPLE/Q/ABC").pixels)), **arguments)


def test_an_outline_that_crosses_itself_is_named(file):
    drawn = picture("HTTPS://RAMET.EXAMPLE/Q/ABC")
    crossed = file(b"[[200, 200], [400, 400], [400, 200], [200, 400], [100, 300]]", "outline.json")
    with pytest.raises(CommandError, match="crosses itself"):
        measure(file(as_file(drawn.pixels)), label_mm="12", outline=crossed)


@pytest.mark.parametrize("data", [b"%PDF-1.7", b"", b"\xff\xd8\xff"])
def test_what_is_no_picture_is_named(file, data):
    with pytest.raises(CommandError, match=r"picture|empty"):
        measure(file(data), label_mm="12")


def test_a_picture_without_a_code_ends_with_the_reason(file):
    with pytest.raises(CommandError, match="no readable code"):
        measure(file(as_file(np.full((300, 400, 3), 128, np.uint8))), label_mm="12", box="10,10,100,100")


def test_a_photo_that_is_not_there_is_named():
    with pytest.raises(CommandError, match="cannot be read: No such file"):
        measure("/nowhere.jpg", label_mm="12")


def test_what_stands_out_and_what_was_proposed_is_less_sure(tmp_path, capsys):
    seen = picture("HTTPS://ELSEWHERE.EXAMPLE/Q/ABC12345", seed=21)
    file, outline = tmp_path / "a.jpg", tmp_path / "a.json"
    file.write_bytes(as_file(seen.pixels))
    outline.write_text(json.dumps(seen.outline_px.tolist()))
    (left, top), (right, bottom) = seen.outline_px.min(axis=0) - 8, seen.outline_px.max(axis=0) + 8

    def sd_of(**more):
        call_command("measure", str(file), label_mm="12", json=True, **more)
        return json.loads(capsys.readouterr().out)["sd"]["area_mm2"]

    given = sd_of(outline=str(outline))
    proposed = sd_of(box=f"{left},{top},{right},{bottom}")
    assert given < proposed < sd_of(box=f"{left},{top},{right},{bottom}", stands_out_mm=5)
    with pytest.raises(CommandError, match="cannot be right"):
        call_command("measure", str(file), label_mm="12", stands_out_mm=float("nan"))
