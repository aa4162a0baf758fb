"""Films as files: H.264 in MP4, which every browser plays, and animated WebP, which goes where pictures go.

A file is written under another name and gets its own when it is whole; when the disk is full nothing is left of it.
"""

from fractions import Fraction
from pathlib import Path

import av
from PIL import Image

from propagation.whole_files import write_whole

from .film import Film

FRAMES_A_SECOND = 20


def write_mp4(path: Path, film: Film, *, title: str = "", quality: int = 21) -> int:
    """Write a film as H.264 in MP4, as every browser plays it. Returns its frames.

    ``quality`` is the constant rate factor of x264, where lower is better. The film says its title and nothing else.
    Raises OSError if it cannot be written; then there is no file.
    """
    frames = 0

    def write(draft):
        nonlocal frames
        # "bitexact" leaves out which program wrote it; faststart lets it play before all of it has come.
        options = {"movflags": "+faststart", "fflags": "+bitexact"}
        with av.open(str(draft), "w", format="mp4", options=options) as container:
            if title:
                container.metadata["title"] = title
            stream = container.add_stream("libx264", rate=FRAMES_A_SECOND)
            stream.width, stream.height, stream.pix_fmt = film.look.width, film.look.height, "yuv420p"
            stream.time_base = stream.codec_context.time_base = Fraction(1, FRAMES_A_SECOND)
            stream.options = {"preset": "veryfast", "crf": str(quality), "bf": "2"}
            _say_colour(stream.codec_context)
            for shot in film.shots():
                frame = _yuv(shot.pixels)
                for _ in range(shot.frames):
                    frame.pts = frames
                    container.mux(stream.encode(frame))
                    frames += 1
            container.mux(stream.encode(None))

    write_whole(Path(path), write)
    return frames


def _say_colour(context):
    """BT.709, so that no player guesses (ITU-R BT.709; ISO/IEC 23091-2 code points)."""
    context.color_primaries = context.color_trc = context.colorspace = 1
    context.color_range = 1


def _yuv(pixels):
    frame = av.VideoFrame.from_ndarray(pixels, format="rgb24")
    return frame.reformat(format="yuv420p", dst_colorspace="ITU709", dst_color_range="MPEG")


class _Played(Image.Image):
    """An animation for Pillow that makes each frame when it is asked for, in order."""

    def __init__(self, film):
        super().__init__()
        self.n_frames = film.shot_count
        self._shots, self._at = film.shots(), -1
        self._mode, self._size = "RGB", (film.look.width, film.look.height)
        self.im = Image.new("RGB", self._size).im
        self.durations = film_durations(film)

    def seek(self, frame):
        while self._at < frame:
            shot = next(self._shots)
            self._at += 1
            self.im = Image.fromarray(shot.pixels).im

    def tell(self):
        return max(self._at, 0)


def film_durations(film: Film) -> list[int]:
    """Milliseconds of each shot."""
    one, step = 1000 // FRAMES_A_SECOND, len(film.steps) - 1
    return [film.look.hold * one] + ([one] * film.look.fade + [film.look.hold * one]) * step


def write_webp(path: Path, film: Film, *, quality: int = 72) -> int:
    """Write a film as an animated WebP that plays again and again. Returns its pictures, fades with them.

    Raises OSError if it cannot be written; then there is no file.
    """
    played = _Played(film)

    def write(draft):
        played.save(
            draft,
            "WEBP",
            save_all=True,
            duration=played.durations,
            loop=0,
            quality=quality,
            method=2,
            minimize_size=False,
        )

    write_whole(Path(path), write)
    return film.shot_count
