"""Does its colour hold: what is compared with what, when a drift is said, and where a keeper reads it."""

from datetime import date, datetime, time, timedelta

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone

from propagation.actions.incidents import close_incident, open_incident
from propagation.actions.measure_photo import colour_in
from propagation.agenda import due_on
from propagation.imaging import read_labels
from propagation.imaging.colour import lab_from_srgb, srgb_from_lab
from propagation.imaging.drawn import BLUE_LIGHT, Circumstances, DrawnColony, draw_photo
from propagation.models import Photo, PhotoMeasurement
from propagation.readings.photo_colour import (
    FEWEST_PICTURES,
    LIGHT_DIFFERS,
    ColourSeries,
    DayColour,
    colour_beside,
    colours_drifted,
    drift_of,
    photo_colour,
)
from tests.factories import ColonyFactory, PlugFactory

TAN = (58.0, 10.0, 24.0)
GREEN = (60.0, -30.0, 25.0)
LAST = date(2026, 6, 10)


def months(number, *, last=LAST, every=30):
    return [last - timedelta(every * (number - 1 - step)) for step in range(number)]


def steps(number, change, *, of=TAN, scatter=0.0, seed=1):
    """Colours that go by ``change`` from the first to the last, with the scatter of pictures in each of L*, a*, b*."""
    random = np.random.default_rng(seed)
    share = np.linspace(0, 1, number)[:, None]
    return np.array(of) + share * np.array(change) + random.normal(0, 1, (number, 3)) * scatter


# The trend, in numbers


def test_a_colour_that_goes_darker_and_browner_is_said_with_its_size_and_its_doubt():
    drift = drift_of(months(5), steps(5, (-12, 3, 1), scatter=0.3))
    assert drift.is_clear
    assert drift.words[0] == "darker"
    assert "browner" in drift.words
    assert 8 < drift.difference < 14
    assert 0 < drift.sd < 2
    assert drift.sentence.startswith("Has become darker and ")
    assert "over 4 months, until 10 Jun 2026: ΔE00\u00a01" in drift.sentence
    assert drift.sentence.endswith("Light or camera may have changed too.")


@pytest.mark.parametrize(
    ("of", "change", "words"),
    [
        (GREEN, (20, 12, -12), ("paler", "duller")),
        (GREEN, (0, -12, 10), ("stronger in colour",)),
        (GREEN, (8, 30, 5), ("paler", "duller", "yellower")),
        ((45, 25, -10), (0, -5, -12), ("bluer",)),
        (TAN, (-9, 0, 0), ("darker", "browner")),
        (GREEN, (-9, 0, 0), ("darker",)),
    ],
)
def test_words_say_which_way_it_went(of, change, words):
    assert drift_of(months(6), steps(6, change, of=of)).words == words


def test_it_is_the_line_that_is_measured_and_one_picture_that_is_off_does_not_bend_it():
    straight = steps(7, (-10, 0, 0))
    off = straight.copy()
    off[3] += (25, 10, 10)
    clean, bent = drift_of(months(7), straight), drift_of(months(7), off)
    assert clean.lightness == pytest.approx(-10)
    assert bent.lightness == pytest.approx(-10, abs=1)
    assert bent.scatter > 5 > 0.1 > clean.scatter


def test_nothing_is_said_of_a_drift_that_light_alone_may_make():
    drift = drift_of(months(6), steps(6, (-LIGHT_DIFFERS / 2, 0, 0)))
    assert not drift.is_clear
    assert drift.sentence.startswith("No drift stands out over 5 months")
    assert "less than about 3 would not be seen" in drift.sentence


def test_pictures_that_only_scatter_hardly_ever_make_a_drift():
    """As pictures under a reef's lamp scatter: in 400 series of seven no more than 1 of 50 are said to drift."""
    random = np.random.default_rng(7)
    said = sum(
        drift_of(months(7), np.array(TAN) + random.normal(0, (2.0, 1.0, 1.0), (7, 3))).is_clear for _ in range(400)
    )
    assert said <= 8


def test_a_real_drift_is_mostly_found_in_such_scatter():
    random = np.random.default_rng(8)
    line = steps(7, (-14, 3, 0))
    found = sum(drift_of(months(7), line + random.normal(0, (2.0, 1.0, 1.0), (7, 3))).is_clear for _ in range(100))
    assert found >= 70


def test_the_stated_doubt_is_that_of_the_difference():
    """The sd of what is found in many drawn series is what each of them states, within a third."""
    random = np.random.default_rng(9)
    line = steps(7, (-14, 3, 0))
    drifts = [drift_of(months(7), line + random.normal(0, (1.5, 0.7, 0.7), (7, 3))) for _ in range(300)]
    seen = np.std([each.difference for each in drifts])
    assert np.median([each.sd for each in drifts]) == pytest.approx(seen, rel=1 / 3)


def test_a_trend_takes_five_days_over_two_months():
    assert drift_of([], []) is None
    assert drift_of(months(FEWEST_PICTURES - 1), steps(FEWEST_PICTURES - 1, (-20, 0, 0))) is None
    assert drift_of(months(8, every=7), steps(8, (-20, 0, 0))) is None
    assert drift_of(months(5, every=15), steps(5, (-20, 0, 0))).is_clear


def test_it_looks_back_half_a_year_and_further_only_where_pictures_are_few():
    old_then_still = np.concatenate([steps(6, (-20, 0, 0)), np.tile((38.0, 10.0, 24.0), (7, 1))])
    drift = drift_of(months(13), old_then_still)
    assert (drift.pictures, drift.is_clear) == (7, False)
    rare = drift_of(months(9, every=60), steps(9, (-40, 0, 0)))
    assert (rare.pictures, rare.until - rare.since) == (5, timedelta(240))
    assert drift_of(months(9, every=120), steps(9, (-40, 0, 0))) is None


def test_a_hue_that_passes_nought_degrees_is_no_jump():
    colours = [(50, 30 * np.cos(np.radians(turn)), 30 * np.sin(np.radians(turn))) for turn in (-6, -3, 0, 3, 6)]
    drift = drift_of(months(5), colours)
    assert drift.hue_deg == pytest.approx(12, abs=0.5)
    assert drift.difference < 6


def test_srgb_and_lab_are_each_others_inverse():
    colours = np.random.default_rng(3).integers(0, 256, (200, 3))
    np.testing.assert_allclose(srgb_from_lab(lab_from_srgb(colours)), colours, atol=0.01)


# What is compared with what


def series(*labs, white="paper"):
    days = months(len(labs))
    return ColourSeries(white, tuple(DayColour(day, tuple(lab), 1, day) for day, lab in zip(days, labs, strict=True)))


def test_each_is_compared_with_the_mean_of_the_first_three_and_with_the_one_before():
    seen = series((50, 0, 0), (52, 0, 0), (54, 0, 0), (62, 0, 0))
    assert seen.reference == (52, 0, 0)
    assert seen.to_first[1] == pytest.approx(0)
    assert seen.to_before[0] is None
    assert seen.to_before[3] == pytest.approx(series((54, 0, 0), (62, 0, 0)).to_first[1])
    assert series((50, 0, 0), (52, 0, 0)).reference == (50, 0, 0)
    assert series((50, 0, 0), (52, 0, 0), (54, 0, 0)).reference == (51, 0, 0)


# Records


def photographed(thing, day, lab=TAN, *, white="paper", reviewed_on=None, accepted=True, number=0, **more):
    """A photo and its colour as a review leaves them, written directly: measuring has tests of its own."""
    kind = "plug" if hasattr(thing, "cut_event") else "colony"
    reviewed_at = timezone.make_aware(datetime.combine(reviewed_on or day, time(20)))
    photo = Photo.objects.create(
        digest=f"{kind}{thing.pk}{day}{number}{white}".ljust(64, "0"),
        name=f"{day}.jpg",
        suffix=".jpg",
        size_bytes=1,
        width=640,
        height=480,
        arrived_at=reviewed_at,
        looked_at=reviewed_at,
        sorted_by="code",
        taken_on=day,
        thumbnail="photo-copies/small.jpg",
        **{kind: thing, "reviewed_at": reviewed_at} | more,
    )
    measured(photo, lab, white=white, accepted_at=reviewed_at if accepted and photo.reviewed_at else None)
    return photo


def measured(photo, lab, *, white="paper", **more):
    colour = {"mean": [round(float(value), 2) for value in lab], "spread": [1, 1, 1], "white": white}
    return PhotoMeasurement.objects.create(
        photo=photo,
        scale_by="label",
        plane={"mm_from_pixel": [[0.1, 0, 0], [0, 0.1, 0], [0, 0, 1]]},
        px_per_mm=10,
        outline=[[100, 100], [300, 100], [200, 300]],
        area_mm2=200,
        area_sd_mm2=4,
        longest_mm=22,
        longest_sd_mm=0.3,
        colour=colour and colour | {"clipped": 0, "notes": []},
        **more,
    )


@pytest.fixture
def colony(db):
    return ColonyFactory(tag="BRN", acquired_on=date(2025, 6, 1))


def browned(colony, number=6, *, last=LAST, change=(-15, 3, 0), **more):
    for day, lab in zip(months(number, last=last), steps(number, change, scatter=0.3), strict=True):
        photographed(colony, day, lab, **more)


def test_only_reviewed_photos_count_by_what_was_accepted_and_else_the_latest(colony):
    first, second, third, fourth, fifth = months(5)
    photo = photographed(colony, first, (50, 0, 0))
    measured(photo, (90, 0, 0))
    photo = photographed(colony, second, (90, 0, 0), accepted=False)
    measured(photo, (52, 0, 0))
    photographed(colony, third, (90, 0, 0), reviewed_at=None)
    photographed(colony, fourth, (90, 0, 0), set_aside_on=fourth)
    photographed(colony, fifth, (90, 0, 0), white="none")
    shown = photo_colour(colony)
    assert [(each.day, each.lab[0]) for each in shown.main.colours] == [(first, 50), (second, 52)]
    assert (shown.number, shown.without_white) == (2, 1)


def test_pictures_of_a_day_are_one_colour(colony):
    for number, light in enumerate((50, 54)):
        photographed(colony, LAST, (light, 10, 20), number=number)
    shown = photo_colour(colony)
    assert [(each.lab, each.pictures) for each in shown.main.colours] == [((52, 10, 20), 2)]
    assert not shown.is_enough


def test_whites_are_told_apart(colony):
    for day in months(6):
        photographed(colony, day, TAN)
    photographed(colony, LAST, (30, 5, 5), white="patches", number=1)
    shown = photo_colour(colony)
    assert [each.white for each in shown.series] == ["paper", "patches"]
    assert shown.main.white == "paper"
    assert not shown.drift.is_clear
    assert max(point for each in shown.series for point in each.to_first) < 0.01
    assert {row[-1] for row in shown.picture.rows} == {"paper", "card"}


def test_many_photos_cost_no_more_queries_than_few(colony, django_assert_num_queries):
    browned(colony, 2)
    with django_assert_num_queries(1):
        assert photo_colour(colony).sentence.startswith("On 10 Jun 2026")
    browned(colony, 12, last=LAST - timedelta(7))
    with django_assert_num_queries(1):
        assert photo_colour(colony).picture


# Drawn photos


def colour_of_drawn(srgb, cast, *, seed):
    drawn = draw_photo(
        text="HTTPS://RAMET.EXAMPLE/P/K7M42QXP",
        colony=DrawnColony(form="massive", longest_mm=14, at_mm=(-14, 6), srgb=srgb, seed=3),
        circumstances=Circumstances(px_per_module=4.0, tilt_deg=8, cast=cast, haze=0.01, jpeg_quality=90),
        seed=seed,
    )
    [ruler] = read_labels(drawn.pixels)
    return colour_in(drawn.pixels, drawn.outline_px, ruler)


LIGHTS = ((0.9, 0.9, 0.9), BLUE_LIGHT)


@pytest.mark.parametrize("browns", [True, False])
def test_browning_is_found_through_two_lights_and_not_where_only_the_light_changes(colony, browns):
    green, brown = np.array((70, 140, 90)), np.array((120, 84, 52))
    for number, day in enumerate(months(6)):
        srgb = tuple(int(value) for value in green + (brown - green) * (number / 5 if browns else 0))
        colour = colour_of_drawn(srgb, LIGHTS[number % 2], seed=number)
        assert colour["white"] == "paper"
        photographed(colony, day, colour["mean"])
    drift = photo_colour(colony).drift
    assert drift.is_clear is browns
    if browns:
        assert {"darker", "browner"} <= set(drift.words)
        assert drift.difference > 15 > drift.sd
    else:
        assert drift.scatter < LIGHT_DIFFERS


# The pages


def test_a_colonys_page_says_it_draws_it_and_leads_to_an_incident(signed_in, colony):
    browned(colony)
    photographed(colony, LAST, white="none", number=1)
    told = signed_in.get(reverse("colony", args=[colony.tag])).content.decode()
    assert "Has become darker and" in told
    assert 'class="pic-swatch"' in told
    assert 'fill="#' in told
    assert "One photo is left out" in told
    assert f"{reverse('incident_new')}?colony=BRN" in told
    assert "style=" not in told.split('id="colour"')[1].split("</section>")[0]


def test_a_page_without_colours_enough_says_what_it_takes(signed_in, colony):
    photographed(colony, LAST, white="none")
    told = signed_in.get(reverse("colony", args=[colony.tag])).content.decode()
    assert "whose paper shows white, tell whether the colour holds; there is none yet. One photo has no white" in told
    photographed(colony, LAST - timedelta(30))
    assert "there is one day yet" in signed_in.get(reverse("colony", args=[colony.tag])).content.decode()


def test_a_plugs_page_shows_its_colour(signed_in):
    plug = PlugFactory()
    for day in months(2):
        photographed(plug, day)
    told = signed_in.get(reverse("plug", args=[plug.code])).content.decode()
    assert f"Colour of {plug.code_in_clear}" in told
    assert "incident_new" not in told.split('id="colour"')[1].split("</section>")[0]


def test_the_review_says_how_far_a_colour_is_from_the_last_one(signed_in, colony):
    photographed(colony, LAST - timedelta(30), TAN)
    photographed(colony, LAST - timedelta(20), GREEN, white="patches")
    photo = photographed(colony, LAST, (TAN[0] - 5, *TAN[1:]), reviewed_at=None)
    beside = colour_beside(photo, photo.measurements.get())
    assert beside.before_on == LAST - timedelta(30)
    assert 4 < beside.difference < 6
    told = signed_in.get(reverse("photo_review_one", args=[photo.pk])).content.decode()
    assert f"ΔE00 {beside.difference:.1f}</span> to " in told
    assert f'fill="{beside.fill}"' in told


def test_without_white_or_without_a_picture_before_the_review_says_nothing_of_colour(signed_in, colony):
    first = photographed(colony, LAST, reviewed_at=None)
    assert colour_beside(first, first.measurements.get()) is None
    photographed(colony, LAST - timedelta(30))
    bare = photographed(colony, LAST, white="none", reviewed_at=None)
    assert colour_beside(bare, bare.measurements.get()) is None
    assert "Colour: " not in signed_in.get(reverse("photo_review_one", args=[bare.pk])).content.decode()


# The agenda


def dues(day):
    return [due for due in due_on(day) if due.sentence.startswith("Look at the colour")]


def test_a_drift_is_due_for_a_week_after_the_first_picture_of_a_month(colony):
    browned(colony)
    [due] = dues(LAST)
    assert due.sentence.startswith("Look at the colour of BRN: darker and ")
    assert due.address == f"{reverse('colony', args=['BRN'])}#colour"
    assert due.since is None
    assert dues(LAST + timedelta(6))
    assert not dues(LAST + timedelta(7))
    photographed(colony, LAST + timedelta(8), (40, 13, 24))
    assert not dues(LAST + timedelta(8))  # the second of June
    photographed(colony, LAST + timedelta(24), (38, 13, 24))
    assert dues(LAST + timedelta(24))  # the first of July


def test_pictures_of_long_ago_that_are_reviewed_now_are_no_news(colony):
    browned(colony, last=LAST - timedelta(90), reviewed_on=LAST)
    assert photo_colour(colony).drift.is_clear
    assert not dues(LAST)


def test_a_colour_that_holds_is_not_due(colony):
    browned(colony, change=(0, 0, 0))
    assert not dues(LAST)


def test_an_incident_of_its_colour_puts_it_to_rest_also_once_it_is_over(colony):
    browned(colony)
    incident = open_incident(kind="browning", on=LAST, today=LAST, colony=colony)
    assert not dues(LAST)
    close_incident(incident=incident, on=LAST, today=LAST)
    assert not dues(LAST)


def test_another_incident_or_one_of_before_does_not(colony):
    browned(colony)
    open_incident(kind="pest", on=LAST, today=LAST, colony=colony)
    old = open_incident(kind="bleaching", on=date(2025, 7, 1), today=LAST, colony=colony)
    close_incident(incident=old, on=date(2025, 8, 1), today=LAST)
    assert dues(LAST)


def test_a_colony_that_is_gone_is_not_due(colony):
    browned(colony)
    type(colony).objects.filter(pk=colony.pk).update(ended_on=LAST, end_reason="died")
    assert not dues(LAST)


def test_the_agenda_costs_the_same_for_many_colonies(colony, django_assert_num_queries):
    browned(colony)
    with django_assert_num_queries(3):
        assert len(colours_drifted(LAST)) == 1
    for number in range(4):
        browned(ColonyFactory(tag=f"C{number}", acquired_on=date(2025, 6, 1)))
    with django_assert_num_queries(3):
        assert [tag for tag, _ in colours_drifted(LAST)] == ["BRN", "C0", "C1", "C2", "C3"]
    [due] = dues(LAST)
    assert due.sentence.startswith("Look at the colours of BRN, C0, C1 and 2 more: ")
    assert (due.address, due.count) == (reverse("colonies"), 5)
