"""The review: the next photo, what is done with it, an outline drawn or looked for anew, a scale by two points."""

import json
from decimal import Decimal

import numpy as np
import pytest
from django.core.files.storage import default_storage
from django.urls import reverse
from django.utils.timezone import localdate

from propagation.actions.accept_measurement import accept_measurement
from propagation.actions.measure_photo import mend_outline, scale_by_points
from propagation.actions.take_size import take_size
from propagation.models import Measure, Method, Photo, PhotoMeasurement, SizeReading
from propagation.readings.photo_sizes import sizes_beside
from propagation.readings.photos import latest_measurement
from propagation.templatetags.photo import as_points, signed_percent
from tests.propagation.photo_samples import as_file, kept, picture, picture_of, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]


@pytest.fixture
def photo(drawn):
    """Measured with its true outline."""
    photo = kept(as_file(drawn.pixels), localdate())
    mend_outline(photo=photo, outline=drawn.outline_px.tolist())
    return photo


def do(client, photo, act, **more):
    return client.post(reverse("photo_reviewed", args=[photo.pk]), {"act": act, **more}, follow=True)


def accept(client, photo, **more):
    return do(client, photo, "accept", measurement=latest_measurement(photo).pk, **more)


def test_the_next_photo_comes_with_its_sizes_and_what_was_known_before(signed_in, photo, drawn, colony):
    half = drawn.area_mm2 / 200
    take_size(
        colony=colony,
        value=Decimal(f"{half:.2f}"),
        measure=Measure.AREA,
        on=photo.taken_on.replace(day=1),
        today=localdate(),
        method=Method.PHOTO,
    )
    answer = signed_in.get(reverse("photo_review"))
    area, longest = answer.context["beside"]
    assert area.value == pytest.approx(drawn.area_mm2 / 100, rel=0.03)
    assert longest.value == pytest.approx(drawn.longest_mm, rel=0.02)
    assert area.change == pytest.approx(1.0, abs=0.06)
    assert longest.change is None
    assert f"+{round(100 * area.change)} % since 1 Jun 2026" in text_of(answer)
    assert as_points(latest_measurement(photo).outline) in answer.content.decode()


def test_a_size_of_the_same_day_is_beside_and_not_before(signed_in, photo, drawn, colony):
    twice = Decimal(f"{drawn.area_mm2 / 50:.2f}")
    take_size(colony=colony, value=twice, measure=Measure.AREA, on=photo.taken_on, today=localdate())
    assert "% beside another size of that day" in text_of(signed_in.get(reverse("photo_review")))


def test_accepting_takes_the_sizes_and_goes_on_to_the_next(signed_in, photo, colony):
    later = kept(as_file(picture_of(colony, seed=8).pixels), localdate(), name="IMG_2.JPG")
    answer = accept(signed_in, photo)
    assert answer.context["photo"] == later
    assert "The sizes of M12 are in the records." in text_of(answer)
    assert set(SizeReading.objects.values_list("measure", "method")) == {
        (Measure.AREA, Method.PHOTO),
        (Measure.DIAMETER, Method.PHOTO),
    }
    assert all(reading.relative_error > 0 for reading in SizeReading.objects.all())


def test_the_last_act_can_be_undone_from_the_next_page(signed_in, photo):
    answer = accept(signed_in, photo)
    assert "Every photo is reviewed" in text_of(answer)
    assert answer.context["toast"]["undo_url"] == reverse("photo_reviewed", args=[photo.pk])
    back = do(signed_in, photo, "undo")
    assert back.context["photo"] == photo
    assert not SizeReading.objects.exists()
    do(signed_in, photo, "aside")
    photo.refresh_from_db()
    assert photo.set_aside_on
    do(signed_in, photo, "undo")
    photo.refresh_from_db()
    assert photo.set_aside_on is None


def test_what_is_doubtful_is_asked_about_and_taken_with_a_yes(signed_in, photo, colony):
    take_size(
        colony=colony,
        value=Decimal("5.00"),
        measure=Measure.DIAMETER,
        on=photo.taken_on,
        today=localdate(),
        method=Method.RULER,
    )
    answer = accept(signed_in, photo)
    assert answer.status_code == 422
    assert "Is it so?" in text_of(answer)
    assert 'name="confirmed" value="yes"' in answer.content.decode()
    assert SizeReading.objects.count() == 1
    accept(signed_in, photo, confirmed="yes")
    assert SizeReading.objects.count() == 3


def test_a_measurement_made_anew_meanwhile_is_looked_at_once_more(signed_in, photo):
    answer = do(signed_in, photo, "accept", measurement=10**6)
    assert "measured anew meanwhile" in text_of(answer)
    assert not SizeReading.objects.exists()
    assert "Choose what is to be done" in text_of(do(signed_in, photo, "dance"))


def test_an_outline_that_another_mended_meanwhile_is_looked_at_first(signed_in, photo, drawn):
    seen = latest_measurement(photo)
    mend_outline(photo=photo, outline=(drawn.outline_px + 2).tolist())
    answer = do(signed_in, photo, "accept", measurement=seen.pk)
    assert "measured anew meanwhile" in text_of(answer)
    assert answer.context["measured"] == latest_measurement(photo) != seen
    assert not SizeReading.objects.exists()


def test_of_two_who_review_at_once_the_second_is_told(signed_in, photo):
    accept(signed_in, photo)
    assert "Sizes measured in IMG_1.JPG are in the records" in text_of(do(signed_in, photo, "picture"))
    assert "Sizes measured in IMG_1.JPG are in the records" in text_of(do(signed_in, photo, "aside"))
    accept(signed_in, photo)  # the same yes again is one
    assert SizeReading.objects.count() == 2
    do(signed_in, photo, "undo")
    do(signed_in, photo, "aside")
    photo.refresh_from_db()
    assert photo.set_aside_on
    assert "is set aside. Take it back first." in text_of(accept(signed_in, photo))
    assert not SizeReading.objects.exists()


def test_left_for_later_it_comes_after_the_others(signed_in, photo, colony):
    other = kept(as_file(picture_of(colony, seed=8).pixels), localdate(), name="IMG_2.JPG")
    first = signed_in.get(reverse("photo_review"))
    assert first.context["photo"] == photo
    then = signed_in.get(first.context["later_url"])
    assert then.context["photo"] == other
    assert signed_in.get(then.context["later_url"]).context["photo"] == photo
    for odd in ("x", "99999999999999999999", "-1", "²"):
        assert signed_in.get(reverse("photo_review"), {"after": odd, "done": odd, "did": "accept"}).status_code == 200


def test_a_mended_outline_is_measured_and_shown(signed_in, photo, drawn):
    middle = drawn.outline_px.mean(axis=0)
    smaller = middle + 0.5 * (drawn.outline_px - middle)
    page = signed_in.get(reverse("photo_outline", args=[photo.pk]))
    assert len(json.loads(page.context["form"]["outline"].value() or "[]") or page.context["form"].initial["outline"])
    answer = signed_in.post(
        reverse("photo_outline", args=[photo.pk]), {"outline": json.dumps(smaller.tolist()), "act": "save"}, follow=True
    )
    assert "Measured with the new outline." in text_of(answer)
    assert latest_measurement(photo).area_mm2 == pytest.approx(drawn.area_mm2 / 4, rel=0.03)
    assert photo.measurements.count() >= 2


NO_OUTLINES = [
    ("", "Draw an outline around the coral"),
    ("[[1, 2], [3", "The outline is not understood"),
    ("[[1, 2], [3, 4]]", "at least three points"),
    ("[" * 50_000, "The outline is not understood"),
    ('[["a", 2], [3, 4], [5, 6]]', "The outline is not understood"),
    ("[[NaN, 2], [3, 4], [5, 6]]", "The outline is not understood"),
    ("[[100, 100], [300, 300], [300, 100], [100, 300]]", "cross"),
    ("[[-4000, 10], [300, 300], [300, 100]]", "out of the picture"),
    ("[[true, 10], [300, 300], [300, 100]]", "The outline is not understood"),
]


def test_an_outline_that_is_none_is_refused_and_stays_on_the_page(signed_in, photo):
    before = photo.measurements.count()
    for outline, said in NO_OUTLINES:
        answer = signed_in.post(reverse("photo_outline", args=[photo.pk]), {"outline": outline, "act": "save"})
        assert answer.status_code == 422, outline
        assert said in text_of(answer), outline
        assert answer.context["form"]["outline"].value() == outline
    assert photo.measurements.count() == before


def box_of(outline, more=0.1):
    (left, top), (right, bottom) = outline.min(axis=0), outline.max(axis=0)
    x, y = more * (right - left) / 2, more * (bottom - top) / 2
    return [left - x, top - y, right + x, bottom + y]


def overlap(one, other, size):
    import cv2

    masks = []
    for outline in (one, other):
        mask = np.zeros(size[::-1], np.uint8)
        cv2.fillPoly(mask, [np.round(np.asarray(outline, dtype=float)).astype(np.int32)], 1)
        masks.append(mask.astype(bool))
    return (masks[0] & masks[1]).sum() / (masks[0] | masks[1]).sum()


def test_a_box_gives_a_new_outline(signed_in, photo, drawn):
    answer = signed_in.post(
        reverse("photo_propose", args=[photo.pk]), {"box": json.dumps([float(x) for x in box_of(drawn.outline_px)])}
    )
    outline = answer.json()["outline"]
    assert overlap(outline, drawn.outline_px, (photo.width, photo.height)) > 0.85
    assert latest_measurement(photo).outline != outline  # it is only shown


def test_a_box_in_numbers_works_without_a_script(signed_in, photo, drawn):
    left, top, right, bottom = box_of(drawn.outline_px)
    told = {
        "left": 100 * left / photo.width,
        "right": 100 * right / photo.width,
        "top": 100 * top / photo.height,
        "bottom": 100 * bottom / photo.height,
    }
    told = {name: f"{max(0, min(100, value)):.2f}" for name, value in told.items()}
    answer = signed_in.post(reverse("photo_outline", args=[photo.pk]), {"act": "box", **told})
    assert answer.status_code == 200
    outline = answer.context["form"].initial["outline"]
    assert overlap(outline, drawn.outline_px, (photo.width, photo.height)) > 0.85
    wrong = signed_in.post(reverse("photo_outline", args=[photo.pk]), {"act": "box", **told, "left": "100"})
    assert wrong.status_code == 422
    assert "left edge before the right" in text_of(wrong)


NOTHING_DRAWN = [
    {"box": "[1, 2, 3]"},
    {"box": "{}"},
    {"inside": "[[[1, 2, 3]]]"},
    {"outside": "[1]"},
    {"box": "[5, 5, 6, 6]"},
    {"inside": json.dumps([[[1, 1]]] * 50)},
]


def test_what_was_drawn_and_is_nothing_is_said_as_json(signed_in, photo):
    for told in NOTHING_DRAWN:
        answer = signed_in.post(reverse("photo_propose", args=[photo.pk]), told)
        assert answer.status_code == 422, told
        assert answer.json()["error"]


def test_two_points_give_a_scale_and_then_an_outline_is_drawn(signed_in, colony):
    photo = kept(as_file(picture("", seed=5).pixels), localdate())
    Photo.objects.filter(pk=photo.pk).update(colony=colony, sorted_by="hand")
    page = text_of(signed_in.get(reverse("photo_review_one", args=[photo.pk])))
    assert "There is no scale in it." in page
    assert signed_in.get(reverse("photo_outline", args=[photo.pk]))["Location"] == reverse(
        "photo_scale", args=[photo.pk]
    )
    answer = signed_in.post(
        reverse("photo_scale", args=[photo.pk]), {"marks": "[[100, 100], [100, 300]]", "distance": "25"}
    )
    assert answer["Location"] == reverse("photo_outline", args=[photo.pk])
    made = latest_measurement(photo)
    assert made.px_per_mm == pytest.approx(8.0, rel=0.02)
    assert made.scale_by == "points"


NO_SCALES = [
    ({"marks": "[[100, 100], [100, 300]]", "distance": ""}, "Say how far apart"),
    ({"marks": "", "distance": "25"}, "Set two points"),
    ({"marks": "[[1, 2]]", "distance": "25"}, "Set two points"),
    ({"marks": "[[1, 2], [1, 2]]", "distance": "25"}, "points"),
    ({"marks": "[[1, 2], [3", "distance": "25"}, "Set the two points again"),
    ({"marks": "[[100, 100], [100, 300]]", "distance": "0"}, "1"),
]


def test_points_that_give_no_scale_are_named(signed_in, photo):
    before = photo.measurements.count()
    for told, said in NO_SCALES:
        answer = signed_in.post(reverse("photo_scale", args=[photo.pk]), told)
        assert answer.status_code == 422, told
        assert said in text_of(answer), told
    assert photo.measurements.count() == before


def test_points_in_numbers_work_without_a_script(signed_in, photo):
    signed_in.post(
        reverse("photo_scale", args=[photo.pk]),
        {"left": "10", "top": "50", "right": "60", "bottom": "50", "distance": "50"},
    )
    assert latest_measurement(photo).px_per_mm == pytest.approx(photo.width / 100, rel=0.02)


def test_a_size_by_points_is_less_sure_than_one_by_the_label(photo, drawn):
    by_label = latest_measurement(photo)
    side = float(by_label.label_mm)
    by_points = scale_by_points(
        photo=photo, first=(100, 100), last=(100 + 10 * by_label.px_per_mm, 100), distance_mm=10
    )
    assert side > 0
    assert by_points.area_sd_mm2 / by_points.area_mm2 > by_label.area_sd_mm2 / by_label.area_mm2


def test_an_outline_that_was_unsure_stays_so_in_another_scale(photo):
    by_label = latest_measurement(photo)
    made = {}
    for area_sd, said in ((0.0, []), (0.25, ["Whether some of it is colony is not clear."])):
        again = PhotoMeasurement.objects.get(pk=by_label.pk)
        again.pk, again.outline_by = None, PhotoMeasurement.OutlineBy.PROPOSED
        again.area_sd_mm2 = by_label.area_mm2 * np.hypot(by_label.area_sd_mm2 / by_label.area_mm2, area_sd)
        again.doubts = said
        again.save()
        made[area_sd] = scale_by_points(photo=photo, first=(100, 100), last=(400, 100), distance_mm=10)
        assert made[area_sd].doubts[len(made[area_sd].doubts) - len(said) :] == said
    sure, unsure = (each.area_sd_mm2 / each.area_mm2 for each in made.values())
    assert unsure == pytest.approx(np.hypot(sure, 0.25), rel=0.01)
    assert made[0.25].longest_sd_mm == pytest.approx(made[0.0].longest_sd_mm, rel=0.01)


@pytest.mark.parametrize("name", ["photo_outline", "photo_scale"])
def test_a_photo_that_is_being_looked_into_cannot_be_drawn_on_yet(signed_in, photo, name):
    Photo.objects.update(looked_at=None, screen="", width=None, height=None)
    assert "It is being looked into still" in text_of(signed_in.get(reverse(name, args=[photo.pk]), follow=True))
    Photo.objects.update(looked_at=photo.arrived_at)
    assert "It could not be opened" in text_of(signed_in.get(reverse(name, args=[photo.pk]), follow=True))


def test_a_photo_whose_file_is_gone_says_so(signed_in, photo, drawn):
    default_storage.delete(photo.file.name)
    answer = signed_in.post(
        reverse("photo_propose", args=[photo.pk]), {"box": json.dumps([float(x) for x in box_of(drawn.outline_px)])}
    )
    assert answer.status_code == 422
    assert "is gone" in answer.json()["error"]


def test_both_the_photo_and_the_calliper_are_kept(signed_in, photo, colony):
    ruler = take_size(
        colony=colony,
        value=Decimal("41.00"),
        measure=Measure.DIAMETER,
        on=photo.taken_on,
        today=localdate(),
        method=Method.RULER,
    )
    accept_measurement(measurement=latest_measurement(photo), today=localdate(), confirmed=True)
    both = SizeReading.objects.filter(colony=colony, measure=Measure.DIAMETER, taken_on=photo.taken_on)
    assert {reading.method for reading in both} == {Method.RULER, Method.PHOTO}
    photo.refresh_from_db()
    assert sizes_beside(photo, latest_measurement(photo))[1].before == float(ruler.value)


def test_the_page_costs_the_same_whatever_is_kept(signed_in, photo, colony, django_assert_max_num_queries):
    for seed in (8, 9, 10):
        kept(as_file(picture_of(colony, seed=seed).pixels), localdate(), name=f"IMG_{seed}.JPG")
    with django_assert_max_num_queries(9):
        signed_in.get(reverse("photo_review"))


def test_changes_are_said_in_whole_percent():
    assert [signed_percent(share) for share in (0.123, -0.031, 0.001, None)] == ["+12 %", "−3 %", "no change", ""]
