"""Films of a colony that grows: every picture at one scale, laid as the one before lay, in one light.

    film = Film(Subject("M12", "Ash Lantern", pictures), look=Look(width=1280, height=960))
    write_mp4(path, film)                       # film_files.py
    write_webp(path, film.smaller(640, fade=2))

Pictures are opened one after the other; two are held at a time.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import cv2
import numpy as np

from .alignment import Alignment, Placement, mapped, middle_of, move
from .colour import LINEAR_OF_LEVEL, NO_WHITE, WhiteReference, srgb_from_linear, white_from_paper
from .errors import ImagingError, NoWhite
from .lettering import BOLD, PLAIN, written

# The house's cover, its ink and its marker, as in ramet.css.
COVER, COVER_INK, COVER_SOFT, COVER_RULE, MARKER = (
    (19, 36, 43),
    (223, 232, 226),
    (163, 181, 180),
    (44, 65, 74),
    (214, 242, 74),
)
MM_IN_AN_INCH = 25.4  # exact since 1959, NIST SP 811 appendix B
ROUND_MM = (1, 2, 5, 10, 20, 50, 100, 200)
ROUND_INCHES = ((0.125, "⅛ in"), (0.25, "¼ in"), (0.5, "½ in"), (1, "1 in"), (2, "2 in"), (4, "4 in"), (8, "8 in"))
ROOM = 1.08  # around the largest colony
MOST_GAIN, LEAST_GAIN = 4.0, 0.4  # of light: more makes noise of what is nearly black
EQUAL_AGE_DAYS = 15  # pictures of one month


class TooFewPictures(ImagingError):
    """A film or a strip of fewer than two pictures shows no growth."""

    def __init__(self, found):
        self.found = found
        super().__init__(f"{found or 'No'} measured picture{'' if found == 1 else 's'}: at least two are needed.")


@dataclass(frozen=True)
class ScaleBar:
    """A round length and how it is written."""

    length_mm: float
    words: str


def choose_scale_bar(most_mm: float, *, inches: bool = False) -> ScaleBar:
    """The longest round length within ``most_mm``, in millimetres or inches."""
    if inches:
        fitting = [(length * MM_IN_AN_INCH, words) for length, words in ROUND_INCHES]
    else:
        fitting = [(float(length), f"{length} mm") for length in ROUND_MM]
    return ScaleBar(*max((each for each in fitting if each[0] <= most_mm), default=fitting[0]))


@dataclass(frozen=True, eq=False)
class FilmPicture:
    """One picture of a colony and what was measured in it.

    Parameters
    ----------
    open : callable
        Gives the upright picture, uint8 RGB, shape (h, w, 3); of any size: it is taken as the whole of ``size_px``.
    size_px
        Width and height to which plane and outline refer.
    mm_from_px : ndarray, shape (3, 3)
        Homography from pixels to mm in the plane of the label; its origin is a corner of the label's code.
    outline_px : ndarray, shape (n, 2), or None
    day : int
        Days since the colony began.
    words, more_words : str
        The date, and what else is said of that day.
    label_mm : float or None
        Side of the code around which there is white paper.
    """

    open: Callable[[], np.ndarray]
    size_px: tuple[int, int]
    mm_from_px: np.ndarray
    outline_px: np.ndarray | None
    day: int
    words: str
    more_words: str = ""
    label_mm: float | None = None

    def reach_mm(self) -> float:
        """How far the colony reaches from its middle."""
        if self.outline_px is None:
            width, height = self.size_px
            corners = mapped(self.mm_from_px, [[0, 0], [width, 0], [width, height], [0, height]])
            return float(np.hypot(*(corners - corners.mean(axis=0)).T).max()) / 2
        outline = mapped(self.mm_from_px, self.outline_px)
        return float(np.hypot(*(outline - middle_of(outline)[0]).T).max())


@dataclass(frozen=True)
class Look:
    """How a film looks. ``hold`` is how many frames a picture stands, ``fade`` how many lie between two."""

    width: int = 1280
    height: int = 960
    hold: int = 7
    fade: int = 6

    def __post_init__(self):
        if self.width % 2 or self.height % 2 or min(self.width, self.height) < 160:
            raise ValueError(
                f"A film of {self.width} × {self.height} pixels cannot be made; both must be even, from 160."
            )

    @property
    def caption_px(self) -> int:
        return round(self.height * 0.0875 / 2) * 2

    @property
    def picture_px(self) -> tuple[int, int]:
        return self.width, self.height - self.caption_px


@dataclass(frozen=True, eq=False)
class Subject:
    """One colony: what stands in the caption, and its pictures in order of time."""

    name: str
    detail: str
    pictures: Sequence[FilmPicture]
    placements: dict[int, Placement] = field(default_factory=dict)

    def checked(self) -> "Subject":
        if len(self.pictures) < 2:
            raise TooFewPictures(len(self.pictures))
        if any(after.day < before.day for before, after in zip(self.pictures, self.pictures[1:], strict=False)):
            raise ValueError("The pictures are not in order of time.")
        return self


def scale_for(subjects: Sequence[Subject], picture_px: tuple[int, int]) -> float:
    """Px per mm at which the largest colony fits, whichever way it is turned."""
    reach = max(picture.reach_mm() for subject in subjects for picture in subject.pictures)
    return min(picture_px) / 2 / (ROOM * reach)


@dataclass(frozen=True)
class Shot:
    """What is shown next, and for how many frames; ``is_fade`` is between two pictures."""

    pixels: np.ndarray
    frames: int
    is_fade: bool = False


class Film:
    """A film of one subject, or of two side by side at equal age.

    With two, pictures of nearly the same age stand together; who has none then keeps its last one, and the caption
    says so.
    """

    def __init__(self, *subjects: Subject, look: Look = Look(), inches: bool = False):
        if not 1 <= len(subjects) <= 2:
            raise ValueError("A film is of one colony or of two.")
        self.subjects = tuple(subject.checked() for subject in subjects)
        self.look, self.inches = look, inches
        width, height = look.picture_px
        self.pane_px = (width // len(subjects), height)
        self.px_per_mm = scale_for(self.subjects, self.pane_px)
        self.bar = choose_scale_bar(0.25 * self.pane_px[0] / self.px_per_mm, inches=inches)
        self.steps = _steps(self.subjects)

    def smaller(self, longest_px: int, *, hold: int | None = None, fade: int | None = None) -> "Film":
        """The same film in another size; what was found about how pictures lie is not sought again."""
        share = longest_px / max(self.look.width, self.look.height)
        width, height = (round(side * share / 2) * 2 for side in (self.look.width, self.look.height))
        look = replace(self.look, width=width, height=height)
        look = replace(look, hold=look.hold if hold is None else hold, fade=look.fade if fade is None else fade)
        return Film(*self.subjects, look=look, inches=self.inches)

    @property
    def shot_count(self) -> int:
        return len(self.steps) + (len(self.steps) - 1) * self.look.fade

    @property
    def frame_count(self) -> int:
        return len(self.steps) * self.look.hold + (len(self.steps) - 1) * self.look.fade

    def shots(self) -> Iterator[Shot]:
        """What is shown, one after the other."""
        panes = [_Pane(subject, self) for subject in self.subjects]
        last = None
        for number, step in enumerate(self.steps):
            shown = self._shown(panes, step, number)
            if last is not None:
                yield from self._faded(last, shown)
            yield Shot(shown, self.look.hold)
            last = shown

    def last_still(self) -> np.ndarray:
        """What is seen at the end, uint8 RGB."""
        panes = [_Pane(subject, self) for subject in self.subjects]
        last = [max(index for index in place if index is not None) for place in zip(*self.steps, strict=True)]
        return self._shown(panes, last, len(self.steps) - 1)

    def _shown(self, panes, step, number):
        pane_width, height = self.pane_px
        frame = np.empty((self.look.height, self.look.width, 3), np.uint8)
        cv2.rectangle(frame, (0, height), (self.look.width, self.look.height), COVER, cv2.FILLED)
        for place, (pane, index) in enumerate(zip(panes, step, strict=True)):
            left = place * pane_width
            frame[:height, left : left + pane_width] = pane.shown(index)
            _write_caption(frame[height:, left : left + pane_width], pane, self)
        if len(panes) == 2:
            frame[:, pane_width - 1 : pane_width + 1] = COVER
        share = self._share_of_time(number)
        frame[height : height + max(2, self.look.height // 240)] = COVER_RULE
        frame[height : height + max(2, self.look.height // 240), : round(share * self.look.width)] = MARKER
        return frame

    def _share_of_time(self, number):
        days = [
            max(s.pictures[i].day for s, i in zip(self.subjects, step, strict=True) if i is not None)
            for step in self.steps
        ]
        span = days[-1] - days[0]
        return (days[number] - days[0]) / span if span else (number + 1) / len(self.steps)

    def _faded(self, last, shown):
        for number in range(1, self.look.fade + 1):
            share = number / (self.look.fade + 1)
            share = share * share * (3 - 2 * share)
            between = (last if share < 0.5 else shown).copy()  # words do not fade into each other
            height = self.pane_px[1]
            cv2.addWeighted(last[:height], 1 - share, shown[:height], share, 0, dst=between[:height])
            yield Shot(between, 1, is_fade=True)


def _steps(subjects):
    """Which picture of each subject stands in each step; None before its first one."""
    if len(subjects) == 1:
        return [(index,) for index in range(len(subjects[0].pictures))]
    first, second = ([picture.day for picture in subject.pictures] for subject in subjects)
    steps, one, other = [], 0, 0
    while one < len(first) or other < len(second):
        if other == len(second) or (one < len(first) and first[one] < second[other] - EQUAL_AGE_DAYS):
            step = (one, None)
        elif one == len(first) or second[other] < first[one] - EQUAL_AGE_DAYS:
            step = (None, other)
        else:
            step = (one, other)
        one, other = one + (step[0] is not None), other + (step[1] is not None)
        steps.append(step)
    return steps


class _Pane:
    """The part of the frame in which one subject is seen. Holds one picture."""

    def __init__(self, subject, film):
        self.subject, self.film = subject, film
        self.alignment = Alignment()
        self.pan = np.zeros(2)
        self.index = None
        self.is_held = False
        self.pixels = None
        self.white = None

    @property
    def picture(self):
        return None if self.index is None else self.subject.pictures[self.index]

    def shown(self, index):
        self.is_held = index is None
        if index is None:
            if self.pixels is None:
                width, height = self.film.pane_px
                return np.full((height, width, 3), COVER, np.uint8)
            return self.pixels
        self.index = index
        self.pixels = self._seen(index)
        return self.pixels

    def _seen(self, index):
        picture = self.subject.pictures[index]
        pixels = picture.open()
        here = shrink(picture, pixels.shape)
        if index not in self.subject.placements:
            small, from_small = _halved(pixels, MOST_COMPARED_PX)
            outline = (
                None if picture.outline_px is None else mapped(np.linalg.inv(here @ from_small), picture.outline_px)
            )
            placed = self.alignment.place(small, picture.mm_from_px @ here @ from_small, outline)
            back = placed.film_from_px @ np.linalg.inv(here @ from_small)
            self.subject.placements[index] = replace(placed, film_from_px=back / back[2, 2])
        placed = self.subject.placements[index]
        frame_from_px = self._frame_from_film(picture, placed) @ placed.film_from_px @ here
        self.white = white_of(picture, pixels, here) or self.white
        return laid(pixels, frame_from_px, self.film.pane_px, self.white)

    def _frame_from_film(self, picture, placed):
        """Pixels of the pane from mm of the film. The view follows a colony that would grow out of it."""
        width, height = self.film.pane_px
        scale = self.film.px_per_mm
        if picture.outline_px is not None:
            outline = mapped(placed.film_from_px, picture.outline_px)
            half = np.array([width, height]) / 2 / scale
            low, high = outline.min(axis=0) - half * 0.02, outline.max(axis=0) + half * 0.02
            self.pan = np.clip(self.pan, high - half, np.maximum(low + half, high - half))
        return move((width - 1) / 2, (height - 1) / 2) @ np.diag([scale, scale, 1.0]) @ move(*-self.pan)


MOST_COMPARED_PX = 700  # across: pictures are compared no larger


def shrink(picture: FilmPicture, shape: tuple[int, ...]) -> np.ndarray:
    """Pixels of the size a plane refers to, from pixels of the picture as it was opened (pixels' middles are whole)."""
    width, height = picture.size_px
    across, down = width / shape[1], height / shape[0]
    return np.array([[across, 0, (across - 1) / 2], [0, down, (down - 1) / 2], [0, 0, 1.0]])


def _halved(pixels, most):
    """The picture with blocks of pixels averaged until it is at most so wide; and its pixels from those."""
    times = max(1, int(np.ceil(max(pixels.shape[:2]) / most)))
    if times == 1:
        return pixels, np.eye(3)
    height, width = (side // times * times for side in pixels.shape[:2])
    small = cv2.resize(pixels[:height, :width], (width // times, height // times), interpolation=cv2.INTER_AREA)
    return small, np.array([[times, 0, (times - 1) / 2], [0, times, (times - 1) / 2], [0, 0, 1.0]])


def white_of(picture: FilmPicture, pixels: np.ndarray, here: np.ndarray) -> WhiteReference | None:
    """The white reference from the paper around the label's code; None if there is none to be seen."""
    if picture.label_mm is None:
        return None
    # Bare paper is nowhere narrower than the four modules of the largest symbol in use (ISO/IEC 18004 §6.3.8).
    along = np.linspace(-0.07, 1.07, 40)
    ring = [(at, beside) for at in along for beside in (-0.065, -0.045, 1.045, 1.065)]
    ring = picture.label_mm * np.array(ring + [(beside, at) for at, beside in ring])
    places = np.round(mapped(np.linalg.inv(picture.mm_from_px @ here), ring)).astype(int)
    height, width = pixels.shape[:2]
    inside = ((places >= 0) & (places < [width, height])).all(axis=1)
    places = places[inside]
    try:
        return white_from_paper(pixels[places[:, 1], places[:, 0]])
    except NoWhite:
        return None


def laid(
    pixels: np.ndarray, frame_from_px: np.ndarray, size_px: tuple[int, int], white: WhiteReference | None
) -> np.ndarray:
    """A picture as it lies in a frame, in even light; around it the colour of the house's cover."""
    height, width = pixels.shape[:2]
    finer = 1 / np.sqrt(abs(np.linalg.det(_local(frame_from_px, size_px))))
    if finer >= 2:  # more pixels than are shown: averaged first, so that nothing glitters
        pixels, from_small = _halved(pixels, max(width, height) // int(finer))
        frame_from_px = frame_from_px @ from_small
    frame = cv2.warpPerspective(pixels, frame_from_px, size_px, flags=cv2.INTER_LINEAR)
    if white is not None and white is not NO_WHITE:
        frame = cv2.LUT(frame, _evened(white))
    _cover_beside(frame, mapped(frame_from_px, _corners(pixels)))
    return frame


def _cover_beside(frame, corners):
    """The colour of the cover where the picture, whose corners these are, does not reach."""
    height, width = frame.shape[:2]
    edge = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]])
    seen = corners.astype(np.float32)
    if all(cv2.pointPolygonTest(seen, (float(x), float(y)), False) >= 0 for x, y in edge):
        return
    around = np.array([[-8, -8], [width + 8, -8], [width + 8, height + 8], [-8, height + 8]])
    # Of two outlines, what lies in one of them alone is filled; so corners beyond the frame are brought to its edge.
    within = cv2.intersectConvexConvex(seen, around.astype(np.float32))[1]
    outlines = [around] if within is None else [around, within[:, 0, :]]
    cv2.fillPoly(frame, [np.round(each * 16).astype(np.int32) for each in outlines], COVER, shift=4)


def _corners(pixels):
    height, width = pixels.shape[:2]
    return np.array([[0.5, 0.5], [width - 1.5, 0.5], [width - 1.5, height - 1.5], [0.5, height - 1.5]])


def _local(matrix, size_px):
    """The linear part of a homography about the middle of its target."""
    middle = mapped(np.linalg.inv(matrix), [[size_px[0] / 2, size_px[1] / 2]])[0]
    around = mapped(matrix, middle + np.array([[0, 0], [1, 0], [0, 1]]))
    return (around[1:] - around[0]).T


def _evened(white):
    """A table of levels for each channel. Strong gains are held back, all three alike, so that no colour is made."""
    gain = np.clip(white.gain, LEAST_GAIN, MOST_GAIN)
    table = [
        srgb_from_linear(np.clip((LINEAR_OF_LEVEL - black) * by, 0, 1))
        for by, black in zip(gain, white.black, strict=True)
    ]
    return np.round(np.stack(table, axis=-1)).astype(np.uint8)[None]


# ---- what is written below


@cache
def _letters(text, size, style):
    return written(text, size, style)


def _write_caption(band, pane, film):
    """Name and scale bar left, the day right; what finds no room is left out, the day last."""
    height, width = band.shape[:2]
    pad = round(height * 0.24)
    large, small = round(height * 0.36), round(height * 0.26)
    picture = pane.picture
    words = picture.words if picture else "No picture yet"
    more = picture.more_words if picture else ""
    if pane.is_held and picture:
        more = "the last picture until then"
    day, about = written(words, large, BOLD), written(more, small)
    right = max(day.shape[1], about.shape[1])
    first, second = round(height * 0.13), round(height * 0.55)
    lay_ink(band, day, width - pad - day.shape[1], first, COVER_SOFT if pane.is_held else COVER_INK)
    lay_ink(band, about, width - pad - about.shape[1], second, COVER_SOFT)

    bar = round(film.bar.length_mm * film.px_per_mm)
    bar_words = _letters(film.bar.words, small, PLAIN)
    bar_left = pad
    name = _letters(pane.subject.name, large, BOLD)
    detail = _letters(pane.subject.detail, small, PLAIN)
    left = max(name.shape[1], detail.shape[1])
    if pad + left + 2 * pad + bar + pad + right + pad <= width:
        bar_left = pad + left + 2 * pad
        lay_ink(band, name, pad, first, COVER_INK)
        lay_ink(band, detail, pad, second, COVER_SOFT)
    elif pad + name.shape[1] + 2 * pad + bar + pad + right + pad <= width:
        bar_left = pad + name.shape[1] + 2 * pad
        lay_ink(band, name, pad, first, COVER_INK)
    thick = max(2, height // 26)
    base = round(height * 0.44)
    band[base : base + thick, bar_left : bar_left + bar] = MARKER
    for end in (bar_left, bar_left + bar - thick):
        band[base - 2 * thick : base + 3 * thick, end : end + thick] = MARKER
    lay_ink(band, bar_words, bar_left + (bar - bar_words.shape[1]) // 2, second, COVER_INK)


def lay_ink(band: np.ndarray, letters: np.ndarray, left: int, top: int, colour: tuple[int, int, int]) -> None:
    """Lay the ink of letters in a colour onto a picture; what reaches beyond it is cut."""
    left = max(0, left)
    part = band[top : top + letters.shape[0], left : left + letters.shape[1]]
    share = letters[: part.shape[0], : part.shape[1], None].astype(np.float32) / 255
    part[:] = np.round(part + share * (np.array(colour, np.float32) - part)).astype(np.uint8)
