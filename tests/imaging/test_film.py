"""Films: every picture at one scale, laid as the one before, in one light; whole files that tell only a title."""

import resource
import tracemalloc

import av
import cv2
import numpy as np
import pytest
from PIL import Image

from propagation.imaging.alignment import Alignment, mapped
from propagation.imaging.drawn_growth import DrawnIndividual, draw_growth
from propagation.imaging.film import (
    COVER,
    Film,
    FilmPicture,
    Look,
    Subject,
    TooFewPictures,
    choose_scale_bar,
)
from propagation.imaging.film_files import FRAMES_A_SECOND, film_durations, write_mp4, write_webp

SMALL = Look(width=320, height=240, hold=2, fade=3)


def disc(diameter_mm, *, px_per_mm=3.0, size=(400, 300), turn_deg=0.0, at=(200, 150), level=200):
    """A picture of a disc on a plane that was turned, and what is known of it."""
    angle = np.radians(turn_deg)
    mm_from_px = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
    mm_from_px = mm_from_px @ np.diag([1 / px_per_mm, 1 / px_per_mm, 1])
    around = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    outline = np.array(at) + diameter_mm / 2 * px_per_mm * np.stack([np.cos(around), np.sin(around)], axis=1)
    columns, rows = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    covered = np.clip(diameter_mm / 2 * px_per_mm + 0.5 - np.hypot(columns - at[0], rows - at[1]), 0, 1)
    pixels = np.round(30 + (level - 30) * covered).astype(np.uint8)
    return np.repeat(pixels[..., None], 3, axis=2), mm_from_px, outline


def picture_of(pixels, mm_from_px, outline, *, day=0, label_mm=None):
    height, width = pixels.shape[:2]
    return FilmPicture(
        open=lambda: pixels,
        size_px=(width, height),
        mm_from_px=mm_from_px,
        outline_px=outline,
        day=day,
        words=f"day {day}",
        label_mm=label_mm,
    )


def subject_of(*pictures):
    return Subject("M1", "Ash Lantern", pictures)


def months_of(individual, sizes, *, turns, size_px=(640, 480)):
    return [
        draw_growth(
            individual, longest_mm=size, text="HTTPS://RAMET.EXAMPLE/Q/7H2KQ9XM", turn_deg=turn, size_px=size_px, seed=n
        )
        for n, (size, turn) in enumerate(zip(sizes, turns, strict=True))
    ]


def drawn_picture(photo, day):
    return picture_of(photo.pixels, photo.mm_from_pixel, photo.outline_px, day=day, label_mm=photo.label_mm)


def stills(film):
    return [shot.pixels for shot in film.shots() if not shot.is_fade]


# -- lying as the one before


@pytest.mark.parametrize(
    ("form", "seed", "most_deg"), [("branching", 3, 2), ("branching", 7, 2), ("plating", 1, 5), ("encrusting", 9, 3)]
)
def test_a_known_turn_is_found_again_and_nothing_is_scaled(form, seed, most_deg):
    turns = [0, 10, -130, 170, -25, 60]
    photos = months_of(DrawnIndividual(form, seed), [40 * 1.09**n for n in range(6)], turns=turns)
    alignment, first = Alignment(), None
    for photo in photos:
        placed = alignment.place(photo.pixels, photo.mm_from_pixel, photo.outline_px)
        assert placed.is_sure
        base, along = mapped(placed.film_from_px @ photo.pixel_from_base, [[0, 0], [10, 0]])
        assert np.hypot(*(along - base)) == pytest.approx(10, rel=1e-3)
        lies = np.degrees(np.arctan2(*(along - base)[::-1]))
        first = first or (lies, base)
        assert abs((lies - first[0] + 180) % 360 - 180) < most_deg
        assert np.hypot(*(base - first[1])) < 2.5, "what has grown stays where it is"


def test_errors_do_not_add_up_over_two_years():
    turns = np.random.default_rng(2).normal(0, 12, 24)
    photos = months_of(DrawnIndividual("branching", 7), np.linspace(30, 115, 24), turns=turns)
    alignment = Alignment()
    lies = []
    for photo in photos:
        placed = alignment.place(photo.pixels, photo.mm_from_pixel, photo.outline_px)
        base, along = mapped(placed.film_from_px @ photo.pixel_from_base, [[0, 0], [10, 0]])
        lies.append(np.degrees(np.arctan2(*(along - base)[::-1])))
    assert np.abs(np.array(lies) - lies[0]).max() < 3


def test_a_round_colony_without_a_mark_keeps_the_orientation_it_was_taken_in():
    alignment = Alignment()
    for turn in (0, 40, -75):
        pixels, mm_from_px, outline = disc(40, turn_deg=turn, at=(180 + turn, 150))
        placed = alignment.place(pixels, mm_from_px, outline)
        up = np.diff(mapped(placed.film_from_px, [outline.mean(axis=0), outline.mean(axis=0) - [0, 30]]), axis=0)[0]
        assert up == pytest.approx([0, -10], abs=1e-6), "what was up in the picture is up"
        assert mapped(placed.film_from_px, [outline.mean(axis=0)])[0] == pytest.approx([0, 0], abs=0.2)


def test_another_colony_put_in_its_place_is_not_turned_by_force():
    first = months_of(DrawnIndividual("branching", 3), [60], turns=[0])[0]
    other = months_of(DrawnIndividual("encrusting", 4), [60], turns=[0])[0]
    alignment = Alignment()
    alignment.place(first.pixels, first.mm_from_pixel, first.outline_px)
    assert not alignment.place(other.pixels, other.mm_from_pixel, other.outline_px).is_sure


def test_a_picture_without_an_outline_stays_as_taken():
    pixels, mm_from_px, _ = disc(40)
    placed = Alignment().place(pixels, mm_from_px, None)
    assert not placed.is_sure


# -- at one scale


def lit_width(pixels, film):
    """The diameter of a disc of as many pixels as are bright in the picture."""
    picture = pixels[: film.pane_px[1]].max(axis=2) > 115
    return 2 * np.sqrt(picture.sum() / np.pi)


def test_a_known_disc_has_as_many_pixels_in_every_frame():
    pictures = [
        picture_of(*disc(40, px_per_mm=2.0 + 0.5 * n, turn_deg=33 * n, at=(190 + 5 * n, 140)), day=30 * n)
        for n in range(4)
    ]
    film = Film(subject_of(*pictures), look=SMALL)
    widths = [lit_width(still, film) for still in stills(film)]
    assert widths == pytest.approx([40 * film.px_per_mm] * 4, abs=0.5)


def test_one_that_grows_twofold_is_seen_twice_as_wide():
    pictures = [picture_of(*disc(size), day=size) for size in (25, 50)]
    film = Film(subject_of(*pictures), look=SMALL)
    small, large = (lit_width(still, film) for still in stills(film))
    assert large / small == pytest.approx(2, rel=0.03)


def test_the_largest_fits_wherever_it_moves():
    pictures = [picture_of(*disc(size, at=(80 + 2 * size, 150)), day=size) for size in (20, 40, 90)]
    film = Film(subject_of(*pictures), look=SMALL)
    last = stills(film)[-1][: film.pane_px[1]]
    assert lit_width(last, film) == pytest.approx(90 * film.px_per_mm, abs=2)
    assert last[0].max() < 120 > last[-1].max()


def test_a_smaller_copy_of_a_picture_makes_the_same_frame():
    pixels, mm_from_px, outline = disc(40, size=(800, 600), px_per_mm=6, at=(400, 300))
    whole = picture_of(pixels, mm_from_px, outline)
    half = FilmPicture(
        open=lambda: cv2.resize(pixels, (400, 300), interpolation=cv2.INTER_AREA),
        size_px=(800, 600),
        mm_from_px=mm_from_px,
        outline_px=outline,
        day=1,
        words="day 1",
    )
    film = Film(subject_of(whole, half), look=SMALL)
    one, other = stills(film)
    assert np.abs(one[:200].astype(int) - other[:200]).mean() < 1.0


@pytest.mark.parametrize(("most", "words"), [(9.9, "5 mm"), (10, "10 mm"), (60, "50 mm"), (0.1, "1 mm")])
def test_the_scale_bar_has_a_round_length(most, words):
    assert choose_scale_bar(most).words == words


def test_the_scale_bar_is_in_inches_for_who_thinks_so():
    bar = choose_scale_bar(30, inches=True)
    assert (bar.words, bar.length_mm) == ("1 in", 25.4)


def test_the_scale_bar_is_as_long_as_it_says():
    film = Film(subject_of(*(picture_of(*disc(40), day=n) for n in (1, 2))), look=Look(width=640, height=480))
    band = stills(film)[-1][film.pane_px[1] + 6 :]
    marker = (np.abs(band.astype(int) - (214, 242, 74)).max(axis=2) < 10).sum(axis=1)
    assert marker.max() == pytest.approx(film.bar.length_mm * film.px_per_mm, abs=1)


# -- in one light


def test_two_casts_of_light_are_evened_by_the_paper_around_the_code():
    individual, text = DrawnIndividual("encrusting", 4), "HTTPS://RAMET.EXAMPLE/Q/7H2KQ9XM"
    means = []
    photos = [
        draw_growth(individual, longest_mm=60, text=text, light=light, size_px=(640, 480), turn_deg=0, seed=5)
        for light in ((0.42, 0.68, 1.0), (0.95, 0.9, 0.7))
    ]
    film = Film(subject_of(*(drawn_picture(photo, n) for n, photo in enumerate(photos))), look=SMALL)
    for still in stills(film):
        means.append(still[90:130, 130:190].reshape(-1, 3).mean(axis=0))
    assert np.abs(means[0] - means[1]).max() < 6
    raw = [photo.pixels[200:280, 280:360].reshape(-1, 3).mean(axis=0) for photo in photos]
    assert np.abs(raw[0] - raw[1]).max() > 25, "they were not alike before"


def test_beside_the_picture_is_the_colour_of_the_cover():
    film = Film(subject_of(*(picture_of(*disc(90, size=(300, 300), at=(150, 150)), day=n) for n in (1, 2))), look=SMALL)
    assert tuple(stills(film)[0][5, 5]) == COVER


# -- side by side


def aged(*days):
    return subject_of(*(picture_of(*disc(30 + day / 20), day=day) for day in days))


def test_pictures_of_nearly_the_same_age_stand_together():
    film = Film(aged(0, 30, 61), aged(4, 35, 70), look=SMALL)
    assert film.steps == [(0, 0), (1, 1), (2, 2)]


def test_a_gap_holds_the_last_picture_and_nothing_stands_before_the_first():
    film = Film(aged(0, 30, 60, 90), aged(33, 95), look=SMALL)
    assert film.steps == [(0, None), (1, 0), (2, None), (3, 1)]
    first, second, third, _ = stills(film)
    width, height = film.pane_px
    assert (first[: height - 1, width + 1 :] == COVER).all()
    assert (third[:height, width + 1 :] == second[:height, width + 1 :]).all()
    assert (third[height:, width + 1 :] != second[height:, width + 1 :]).any(), "the caption says that it is held"


def test_both_stand_at_one_scale():
    one = subject_of(*(picture_of(*disc(30), day=n) for n in (1, 40)))
    other = subject_of(*(picture_of(*disc(60), day=n) for n in (1, 40)))
    film = Film(one, other, look=SMALL)
    still = stills(film)[0]
    left, right = still[:, : film.pane_px[0]], still[:, film.pane_px[0] :]
    assert lit_width(right, film) / lit_width(left, film) == pytest.approx(2, rel=0.06)


# -- refusals


@pytest.mark.parametrize("number", [0, 1])
def test_one_picture_is_no_film(number):
    with pytest.raises(TooFewPictures, match="at least two"):
        Film(subject_of(*(picture_of(*disc(40)) for _ in range(number))))


def test_pictures_out_of_order_and_odd_sizes_are_mistakes_of_the_caller():
    with pytest.raises(ValueError, match="order"):
        Film(aged(30, 0))
    with pytest.raises(ValueError, match="even"):
        Look(width=321, height=240)


# -- files


@pytest.fixture
def film():
    return Film(aged(0, 30, 60), look=SMALL)


def test_the_mp4_has_its_size_its_frames_and_its_length(film, tmp_path):
    file = tmp_path / "film.mp4"
    assert write_mp4(file, film, title="M1") == film.frame_count == 3 * 2 + 2 * 3
    with av.open(str(file)) as opened:
        stream = opened.streams.video[0]
        assert stream.codec_context.name == "h264"
        assert stream.codec_context.pix_fmt == "yuv420p"
        assert (stream.width, stream.height, stream.average_rate) == (320, 240, FRAMES_A_SECOND)
        assert sum(1 for _ in opened.decode(video=0)) == film.frame_count
        assert opened.duration / av.time_base == pytest.approx(film.frame_count / FRAMES_A_SECOND, abs=0.06)
        assert sum(film_durations(film)) / 1000 == film.frame_count / FRAMES_A_SECOND
        assert set(opened.metadata) <= {"title", "major_brand", "minor_version", "compatible_brands"}
    data = file.read_bytes()
    assert data.index(b"moov") < data.index(b"mdat"), "it plays before all of it has come"


def test_the_colours_of_the_mp4_are_those_of_the_frames(film, tmp_path):
    file = tmp_path / "film.mp4"
    write_mp4(file, film)
    with av.open(str(file)) as opened:
        frame = next(opened.decode(video=0)).reformat(format="rgb24", src_colorspace="ITU709").to_ndarray()
    assert np.abs(frame.astype(int) - stills(film)[0]).mean() < 3


def test_the_webp_has_its_pictures_and_tells_nothing_else(film, tmp_path):
    file = tmp_path / "film.webp"
    assert write_webp(file, film) == film.shot_count == 3 + 2 * 3
    animated = Image.open(file)
    assert (animated.format, animated.size, animated.n_frames) == ("WEBP", (320, 240), film.shot_count)
    assert not animated.getexif()
    assert not {"exif", "xmp", "icc_profile", "comment"} & set(animated.info)
    animated.seek(film.shot_count - 1)
    assert np.abs(np.asarray(animated.convert("RGB")).astype(int) - stills(film)[-1]).mean() < 6


@pytest.mark.parametrize("write", [write_mp4, write_webp])
def test_a_disk_that_is_full_leaves_nothing(film, tmp_path, write):
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, hard))
    try:
        with pytest.raises(OSError):  # noqa: PT011 - which one depends on what is full
            write(tmp_path / "film.mp4", film)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert list(tmp_path.iterdir()) == []


def test_what_was_there_stays_when_the_new_one_cannot_be_made(tmp_path):
    def broken():
        raise OSError(5, "gone")

    good, bad = (picture_of(*disc(40), day=n) for n in (1, 2))
    object.__setattr__(bad, "open", broken)
    file = tmp_path / "film.mp4"
    file.write_bytes(b"before")
    with pytest.raises(OSError, match="gone"):
        write_mp4(file, Film(subject_of(good, bad), look=SMALL))
    assert file.read_bytes() == b"before"
    assert [each.name for each in tmp_path.iterdir()] == ["film.mp4"]


def test_many_pictures_take_no_more_memory_than_few(tmp_path):
    def peak(months):
        film = Film(aged(*range(0, 30 * months, 30)), look=SMALL)
        tracemalloc.start()
        write_mp4(tmp_path / "film.mp4", film)
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    peak(3)
    assert peak(40) < 1.5 * peak(6)


def test_pictures_fade_into_each_other_and_words_do_not(film):
    shots = list(film.shots())
    height = film.pane_px[1]
    first, fades, second = shots[0].pixels, shots[1:4], shots[4].pixels
    for fade in fades:
        assert (fade.pixels[height:] == first[height:]).all() or (fade.pixels[height:] == second[height:]).all()
        assert (fade.pixels[:height] != first[:height]).any()
        assert (fade.pixels[:height] != second[:height]).any()
