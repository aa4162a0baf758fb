"""How long a film of 48 pictures takes, beside the bare cost of opening the same pictures and encoding the same frames.

    python tests/speed/bench_film.py

The floor opens 48 JPEG files of 1280 × 960 and gives the encoder the very frames of the film, which lie ready: whoever
makes this film does at least that. Both are measured in one run, the best of several, by the clock and in the time of
all processors; the ratios are what counts.
"""

import io
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
from PIL import Image

from propagation.imaging.drawn_growth import DrawnIndividual, draw_growth
from propagation.imaging.film import Film, FilmPicture, Look, Shot, Subject
from propagation.imaging.film_files import write_mp4, write_webp

PICTURES = 48
REPEATS = 3


def opened(data):
    return np.asarray(Image.open(io.BytesIO(data)))


def drawn_months():
    chance = np.random.default_rng(1)
    pictures = []
    for month in range(PICTURES):
        photo = draw_growth(
            DrawnIndividual("branching", 7),
            longest_mm=25 + 2 * month,
            text="HTTPS://RAMET.EXAMPLE/Q/7H2KQ9XM",
            turn_deg=float(chance.normal(0, 12)),
            seed=month,
        )
        pictures.append((photo.jpeg, photo.mm_from_pixel, photo.outline_px))
    return pictures


def subject_of(months):
    return Subject(
        "M1",
        "Ash Lantern",
        [
            FilmPicture(
                open=lambda data=data: opened(data),
                size_px=(1280, 960),
                mm_from_px=plane,
                outline_px=outline,
                day=30 * month,
                words=f"month {month}",
                label_mm=20.0,
            )
            for month, (data, plane, outline) in enumerate(months)
        ],
    )


class Ready:
    """A film whose frames are made already."""

    def __init__(self, film):
        self.look = film.look
        self.made = [Shot(shot.pixels, shot.frames) for shot in film.shots()]

    def shots(self):
        return iter(self.made)


def best_of(work):
    """Seconds by the clock and of all processors, the best of each."""
    times = []
    for _ in range(REPEATS):
        began = time.perf_counter(), time.process_time()
        work()
        times.append((time.perf_counter() - began[0], time.process_time() - began[1]))
    return np.min(times, axis=0)


def main():
    months = drawn_months()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "film.mp4"
        for words, look in (("48 frames", Look(hold=1, fade=0)), ("held and faded", Look())):
            ready = Ready(Film(subject_of(months), look=look))
            opening = best_of(lambda: [opened(data) for data, _, _ in months])
            encoding = best_of(lambda ready=ready: write_mp4(file, ready))
            whole = best_of(lambda look=look: write_mp4(file, Film(subject_of(months), look=look)))
            print(
                f"{words}: {whole[0]:.2f} s; opening {opening[0]:.2f} s and encoding {encoding[0]:.2f} s; "
                f"{whole[0] / (opening + encoding)[0]:.2f} × the floor by the clock, "
                f"{whole[1] / (opening + encoding)[1]:.2f} × in processor time (bar 1.5)"
            )
            del ready
        small = Film(subject_of(months), look=Look()).smaller(640, fade=2)
        taken = best_of(lambda: write_webp(Path(folder) / "film.webp", small))
        print(f"animated WebP, 640 × 480, {small.shot_count} pictures: {taken[0]:.2f} s")


if __name__ == "__main__":
    main()
