"""Outlines as polygons: is one fit to be kept, with how few points does it say the same, what does it cover.

Places are (x, y) in pixels of the upright picture, the middle of the first pixel at (0, 0). ``size`` is the picture's
width and height. A polygon's last place joins its first.
"""

import heapq

import numpy as np

from .errors import BadOutline

_LOOKED_AT = 350  # points left, below which a collapse may make a polygon cross itself: seldom above
_MOST_POINTS = 5000  # that a drawn outline may have: more were not set by a hand (no source)


def signed_area(points) -> float:
    """Twice signed halves: above zero if the polygon runs clockwise as seen on the screen."""
    x, y = np.asarray(points, dtype=float).T
    x, y = x - x.mean(), y - y.mean()
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def box_around(points, *, larger=0.1) -> tuple[float, ...]:
    """``(x0, y0, x1, y1)`` around points, by so much larger than they are on the whole."""
    points = np.asarray(points, dtype=float)
    low, high = points.min(axis=0), points.max(axis=0)
    more = larger / 2 * (high - low)
    return (*(low - more).tolist(), *(high + more).tolist())


def outline_mask(points, size) -> np.ndarray:
    """The pixels whose middle the polygon holds, shape (height, width), bool."""
    width, height = size
    starts = np.asarray(points, dtype=float)
    ends = np.roll(starts, -1, axis=0)
    # Every side meets the middles of some rows; right of each meeting, inside and outside change places.
    first = np.clip(np.ceil(np.minimum(starts[:, 1], ends[:, 1])), 0, height).astype(int)
    until = np.clip(np.ceil(np.maximum(starts[:, 1], ends[:, 1])), 0, height).astype(int)
    met = until - first
    side = np.repeat(np.arange(len(starts)), met)
    row = np.arange(met.sum()) - np.repeat(met.cumsum() - met, met) + first[side]
    share = (row - starts[side, 1]) / (ends[side, 1] - starts[side, 1])
    column = np.ceil(starts[side, 0] + share * (ends[side, 0] - starts[side, 0]))
    column = np.clip(column, 0, width).astype(int)
    mask = np.zeros((height, width), bool)
    if not len(row):
        return mask
    top, bottom, left, right = row.min(), row.max() + 1, column.min(), column.max() + 1
    changes = np.zeros((bottom - top, right - left), np.uint8)
    np.add.at(changes, (row - top, column - left), 1)
    inside = np.cumsum(changes, axis=1, dtype=np.uint8) & 1
    mask[top:bottom, left : min(right, width)] = inside[:, : width - left]
    return mask


def check_outline(points, size) -> np.ndarray:
    """Return the outline as an array (n, 2), clockwise, if it can be measured.

    Points that repeat the one before are left out. Raises BadOutline that names what is wrong: fewer than three
    points, outside the picture, crossing itself, enclosing nothing.
    """
    try:
        outline = np.asarray(points, dtype=float)
    except (TypeError, ValueError):
        outline = np.empty(0)
    if outline.ndim != 2 or outline.shape[1] != 2 or not np.isfinite(outline).all():
        raise BadOutline("it must be a list of places, each with an x and a y. Draw it around the colony.")
    if len(outline) > _MOST_POINTS:
        raise BadOutline(f"it has {len(outline)} points, more than the {_MOST_POINTS} that are taken. Draw it coarser.")
    outline = outline[(outline != np.roll(outline, 1, axis=0)).any(axis=1)]
    if len(outline) < 3:
        raise BadOutline("it needs at least three different points. Draw it around the colony.")
    width, height = size
    out = (outline < -0.5).any(axis=1) | (outline > [width - 0.5, height - 0.5]).any(axis=1)
    if out.any():
        number = int(np.argmax(out))
        x, y = outline[number]
        raise BadOutline(
            f"its point {number + 1} at {x:.0f}, {y:.0f} is outside the picture of {width} × {height} pixels. "
            "Drag it back into the picture."
        )
    crossing = first_crossing(outline)
    if crossing is not None:
        one, other = crossing
        raise BadOutline(
            f"it crosses itself: its sides after point {one + 1} and after point {other + 1} meet. "
            "Drag one of these points until they do not."
        )
    area = signed_area(outline)
    if abs(area) < 1:
        raise BadOutline("it encloses nothing. Draw it around the colony.")
    return outline if area > 0 else outline[::-1].copy()


def first_crossing(outline):
    """The numbers of two sides that touch or cross though they are no neighbours, or None; side i starts at point i."""
    outline = np.asarray(outline, dtype=float)
    count = len(outline)
    ends = np.roll(outline, -1, axis=0)
    lows, highs = np.minimum(outline, ends), np.maximum(outline, ends)
    order = np.argsort(lows[:, 0], kind="stable")
    starts = lows[order, 0]
    for place, one in enumerate(order):
        until = np.searchsorted(starts, highs[one, 0], side="right")
        others = order[place + 1 : until]
        near = (lows[others, 1] <= highs[one, 1]) & (highs[others, 1] >= lows[one, 1])
        others = others[near]
        apart = (others - one) % count
        # A neighbour shares a point; it crosses only where it folds straight back over the side.
        neighbours, others = others[(apart == 1) | (apart == count - 1)], others[(apart > 1) & (apart < count - 1)]
        a, b = outline[one], ends[one]
        if len(others):
            c, d = outline[others], ends[others]
            met = _sides(a, b, c) * _sides(a, b, d) <= 0
            met &= _sides(c, d, a) * _sides(c, d, b) <= 0
            if met.any():
                other = int(others[np.argmax(met)])
                return min(int(one), other), max(int(one), other)
        for other in neighbours if count > 3 else ():
            step, on = b - a, ends[other] - outline[other]
            if step[0] * on[1] == step[1] * on[0] and step @ on < 0:
                return min(int(one), int(other)), max(int(one), int(other))
    return None


def _sides(a, b, c):
    """On which side of the line a–b the point c lies; any of them may be many."""
    a, b, c = np.atleast_2d(a), np.atleast_2d(b), np.atleast_2d(c)
    return np.sign((b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0]))


def farthest_from(points, outline) -> float:
    """How far the farthest of ``points`` is from the sides of ``outline``, in pixels."""
    points, starts = np.asarray(points, dtype=float), np.asarray(outline, dtype=float)
    along = np.roll(starts, -1, axis=0) - starts
    lengths = np.maximum((along**2).sum(axis=1), 1e-12)
    farthest = 0.0
    for part in np.array_split(points, len(points) // 500 + 1):
        away = part[:, None] - starts
        share = np.clip((away * along).sum(axis=2) / lengths, 0, 1)
        away = away - share[..., None] * along
        farthest = max(farthest, float((away**2).sum(axis=2).min(axis=1).max()))
    return farthest**0.5


def simplify_outline(points, tolerance_px) -> np.ndarray:
    """The same outline with fewer points: no point of it is farther than ``tolerance_px`` from the new one.

    A side and its two points become one point where the area stays exactly as it was (Kronenfeld and others 2020,
    "Simplification of polylines by segment collapse: minimizing areal displacement while preserving area"), the side
    first that displaces least. What would come to cross itself is simplified less.
    """
    outline = np.asarray(points, dtype=float)
    for step in tolerance_px * 0.5 ** np.arange(6):
        fewer = _collapsed(outline, fewest=3, most_shift=step)
        if farthest_from(outline, fewer) <= tolerance_px and first_crossing(fewer) is None:
            return fewer
    return outline


def fewer_points(points, *, fewest, most, displaced_share) -> np.ndarray:
    """The same outline with ``fewest`` to ``most`` points, as few as displace no more than a share of its area.

    More than ``most`` are left only where it would cross itself with fewer.
    """
    outline = np.asarray(points, dtype=float)
    spare = displaced_share * abs(signed_area(outline))
    for more in (1, 1.5, 2, 3, 5):
        fewer = _collapsed(outline, fewest=round(fewest * more), most=round(most * more), spare=spare / more)
        if first_crossing(fewer) is None:
            return fewer
    return outline


def _collapsed(outline, *, fewest, most=None, most_shift=None, spare=np.inf):
    """Collapse sides, the cheapest first, while more than ``fewest`` points are left.

    Stops before ``spare`` is displaced, once no more than ``most`` are left; leaves sides alone that would move by
    more than ``most_shift``.
    """
    count = len(outline)
    places = [complex(x, y) for x, y in outline.tolist()]
    before, after = [(i - 1) % count for i in range(count)], [(i + 1) % count for i in range(count)]
    version, gone, waiting = [0] * count, [False] * count, []

    def offer(start):
        end = after[start]
        four = places[before[start]], places[start], places[end], places[after[end]]
        made, displaced = _one_for_two(*four)
        if made is not None and (most_shift is None or _shift(made, *four) <= most_shift):
            heapq.heappush(waiting, (displaced, start, version[start], made.real, made.imag))

    for start in range(count):
        offer(start)
    left = count
    while waiting and left > fewest:
        displaced, start, at, x, y = heapq.heappop(waiting)
        if gone[start] or at != version[start]:
            continue
        spare -= displaced
        if spare < 0 and (most is None or left <= most):
            break
        end = after[start]
        beyond = after[end]
        if left < _LOOKED_AT and _would_cross(places, after, gone, before[start], start, end, beyond, complex(x, y)):
            continue
        places[start], gone[end] = complex(x, y), True
        after[start], before[beyond] = beyond, start
        left -= 1
        first = before[start]
        for side in (before[first], first, start, beyond):
            version[side] += 1
            offer(side)
    return np.array([(place.real, place.imag) for place, is_gone in zip(places, gone, strict=True) if not is_gone])


def _would_cross(places, after, gone, first, start, end, beyond, made):
    """Would the sides from ``first`` over ``made`` to ``beyond`` meet another side?"""
    others = [side for side, is_gone in enumerate(gone) if not is_gone and side not in (first, start, end)]
    a = np.array([places[side] for side in others])
    b = np.array([places[after[side]] for side in others])
    apart = np.array([side != beyond and after[side] != first for side in others])  # neighbours share a point with it
    for one, other in ((places[first], made), (made, places[beyond])):
        along = other - one
        met = (_cross(along, a - one) * _cross(along, b - one) <= 0) & (
            _cross(b - a, one - a) * _cross(b - a, other - a) <= 0
        )
        met &= apart
        if met.any():
            return True
    return False


def _cross(one, other):
    return one.real * other.imag - one.imag * other.real


def _one_for_two(a, b, c, d):
    """The point e for which a–e–d encloses what a–b–c–d does, on a–b or c–d drawn longer; and the area displaced."""
    chord = d - a
    length = abs(chord)
    if length < 1e-9:
        return None, 0.0
    height = (_cross(b - a, c - a) + _cross(c - a, chord)) / length  # twice the area by the base
    best, least = None, np.inf
    for start, along in ((a, b - a), (d, c - d)):
        rise = _cross(along, chord) / length
        if abs(rise) > 1e-9:
            made = start + along * (height / rise)
            displaced = abs(_cross(b - made, c - made)) / 2
            if displaced < least:
                best, least = made, displaced
    if best is None and abs(height) < 1e-9:  # all four in a row
        return (b + c) / 2, 0.0
    return best, least


def _shift(made, a, b, c, d):
    """How far the points move to the new sides, or the new point from the old."""
    return max(_away(made, b, c), min(_away(b, a, made), _away(b, made, d)), min(_away(c, a, made), _away(c, made, d)))


def _away(point, start, end):
    along = end - start
    length = abs(along) ** 2
    share = 0.0 if length < 1e-12 else min(1.0, max(0.0, ((point - start) * along.conjugate()).real / length))
    return abs(point - start - share * along)
