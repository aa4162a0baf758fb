"""The QR of a label: made by the qrcode package, drawn as one vector path in whole printer dots.

Source for everything about the symbol: ISO/IEC 18004 (section numbers of the 2015 edition, from memory).
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice, pairwise

import numpy as np
import qrcode
from qrcode.constants import ERROR_CORRECT_H, ERROR_CORRECT_L, ERROR_CORRECT_M, ERROR_CORRECT_Q
from qrcode.exceptions import DataOverflowError
from qrcode.util import MODE_8BIT_BYTE, MODE_ALPHA_NUM, QRData, optimal_mode

from .errors import AddressTooLong

QUIET_MODULES = 4  # ISO/IEC 18004 §6.3.8: the quiet zone is four modules wide on every side
READABLE_MODULE_MM = 0.25  # what a phone reads held close to a good print (common practice, no source)
MM_PER_INCH = 25.4

_LEVELS = {"L": ERROR_CORRECT_L, "M": ERROR_CORRECT_M, "Q": ERROR_CORRECT_Q, "H": ERROR_CORRECT_H}
_MASKS = 8
_BATCH = 64  # masks are weighed for this many symbols at once; more gains nothing and costs memory


@dataclass(frozen=True)
class SymbolSize:
    """Version 1 to 40 and error correction L, M, Q or H of a symbol."""

    version: int
    level: str

    @property
    def modules(self) -> int:
        """Modules on a side, without the quiet zone."""
        return 17 + 4 * self.version

    @property
    def modules_with_quiet_zone(self) -> int:
        return self.modules + 2 * QUIET_MODULES


@lru_cache(maxsize=4 * _BATCH)
def symbol_size(address: str) -> SymbolSize:
    """The smallest symbol that holds an address, with the strongest error correction that does not enlarge it.

    Raises AddressTooLong when no symbol holds it.
    """
    data = address.encode()
    return _size(optimal_mode(data), len(data), address)


@lru_cache(maxsize=256)
def _size_for(mode: int, length: int) -> SymbolSize | None:
    # Capacity depends on the mode and the length alone, so one stand-in text is measured for all addresses like it.
    stand_in = b"A" * length if mode == MODE_ALPHA_NUM else b"a" * length if mode == MODE_8BIT_BYTE else b"1" * length
    best = None
    for level, constant in _LEVELS.items():
        maker = qrcode.QRCode(error_correction=constant)
        maker.add_data(QRData(stand_in, mode=mode), optimize=0)
        try:
            version = maker.best_fit()
        except (DataOverflowError, ValueError):
            break
        if best is not None and version > best.version:
            break
        best = SymbolSize(version, level)
    return best


def _size(mode, length, address):
    size = _size_for(mode, length)
    if size is None:
        raise AddressTooLong(address)
    return size


def dot_mm(dpi: float) -> float:
    """Length of one printer dot in mm."""
    return MM_PER_INCH / dpi


def module_mm(dots: int, dpi: float) -> float:
    """Side of a module that is printed with so many whole dots, in mm."""
    return dots * dot_mm(dpi)


def module_warning(length_mm: float, stock_name: str) -> str | None:
    """A sentence when a module of this side is too small to scan, else None."""
    if length_mm >= READABLE_MODULE_MM - 1e-6:
        return None
    return (
        f"On “{stock_name}” a module of the QR is {length_mm:.2f} mm wide; under {READABLE_MODULE_MM} mm a phone may "
        "not read it. Take a larger label, a finer printer or a shorter base address."
    )


def make_symbols(addresses: Iterable[str]) -> Iterator[np.ndarray]:
    """The modules of each address, True where dark.

    Yields
    ------
    ndarray of bool, shape (modules, modules)
        Without the quiet zone. Each symbol has the mask that ISO/IEC 18004 §7.8.3 rates best.
    """
    for batch in _batches(addresses):
        made = {}
        for places, symbols in _made(batch):
            made.update(zip(places, symbols, strict=True))
        yield from (made[place] for place in range(len(batch)))


def make_symbol_paths(addresses: Iterable[str]) -> Iterator[str]:
    """The `symbol_path` of each address."""
    for batch in _batches(addresses):
        made = {}
        for places, symbols in _made(batch):
            made.update(zip(places, symbol_paths(symbols), strict=True))
        yield from (made[place] for place in range(len(batch)))


def _batches(addresses):
    waiting = iter(addresses)
    while batch := list(islice(waiting, _BATCH)):
        yield batch


def _made(batch):
    """For each size of symbol in a batch: the places of its addresses, and their symbols."""
    by_size = {}
    for place, address in enumerate(batch):
        by_size.setdefault(symbol_size(address), []).append(place)
    for size, places in by_size.items():
        plain = np.array([_matrix(batch[place], size, 0) for place in places], dtype=bool)
        yield places, _best_masked(plain, size)


def _matrix(address, size, mask):
    maker = qrcode.QRCode(version=size.version, error_correction=_LEVELS[size.level], border=0, mask_pattern=mask)
    maker.add_data(address, optimize=0)
    maker.make(fit=False)
    return maker.modules


@lru_cache(maxsize=32)
def _mask_changes(size: SymbolSize) -> np.ndarray:
    """What changes, shape (8, modules, modules), when a symbol is drawn with mask 0…7 instead of mask 0.

    The change is the same whatever the symbol says, so it is learnt once from the qrcode package. Letting the
    package try eight masks for every symbol takes eight times as long.
    """
    drawn = np.array([_matrix("1", size, mask) for mask in range(_MASKS)], dtype=bool)
    return drawn ^ drawn[0]


def _best_masked(plain: np.ndarray, size: SymbolSize) -> np.ndarray:
    changes = _mask_changes(size)
    if size.modules > 64:
        tried = plain[:, None] ^ changes
        return tried[np.arange(len(plain)), [int(np.argmin(mask_penalties(each))) for each in tried]]
    # Rows and columns become the bits of one word each, which makes weighing all masks cheap beside making the symbol.
    penalties = _word_penalties(
        _words(plain)[:, None] ^ _words(changes),
        _words(plain.swapaxes(-1, -2))[:, None] ^ _words(changes.swapaxes(-1, -2)),
        size.modules,
    )
    return plain ^ changes[np.argmin(penalties, axis=-1)]


def mask_penalties(modules: np.ndarray) -> np.ndarray:
    """Penalty points N1 + N2 + N3 + N4 of ISO/IEC 18004 §7.8.3.1; lower is better.

    Parameters
    ----------
    modules : ndarray of bool, shape (..., n, n)

    Returns
    -------
    ndarray of int, shape (...)
    """
    side = modules.shape[-1]
    if side <= 64:
        return _word_penalties(_words(modules), _words(modules.swapaxes(-1, -2)), side)
    return _long_penalties(modules)


def _words(modules):
    weights = np.uint64(1) << np.arange(modules.shape[-1], dtype=np.uint64)
    return (modules * weights).sum(axis=-1, dtype=np.uint64)


def _word_penalties(rows, columns, side):
    one = np.uint64(1)
    within = (one << np.uint64(side - 1)) - one
    points = np.zeros(rows.shape[:-1], dtype=np.int64)

    def count(bits):
        return np.bitwise_count(bits).sum(axis=-1, dtype=np.int64)

    finder = (1, 0, 1, 1, 1, 0, 1)
    for lines in (rows, columns):
        same = ~(lines ^ (lines >> one)) & within
        five = same & (same >> one) & (same >> np.uint64(2)) & (same >> np.uint64(3))
        # A run of L ≥ 5 modules holds L − 4 windows of five and begins once: L − 2 points in all.
        points += count(five) + 2 * count(five & ~(five << one))
        dark = [lines >> np.uint64(shift) for shift in range(11)]
        for pattern in ((*finder, 0, 0, 0, 0), (0, 0, 0, 0, *finder)):
            hit = np.full_like(lines, (one << np.uint64(side - 10)) - one)
            for shifted, wanted in zip(dark, pattern, strict=True):
                hit &= shifted if wanted else ~shifted
            points += 40 * count(hit)
    same = ~(rows ^ (rows >> one)) & within
    blocks = same[..., :-1] & same[..., 1:] & ~(rows[..., :-1] ^ rows[..., 1:])
    points += 3 * count(blocks)
    return points + _balance_points(count(rows), side)


def _balance_points(dark, side):
    # 10 points for every full 5 % away from half dark.
    return 10 * (np.abs(20 * dark - 10 * side * side) // (side * side))


def _long_penalties(modules):
    """The same points for symbols wider than a machine word, by plain windows."""
    points = np.zeros(modules.shape[:-2], dtype=np.int64)
    side = modules.shape[-1]
    finder = (1, 0, 1, 1, 1, 0, 1)
    for lines in (modules, modules.swapaxes(-1, -2)):
        windows = np.lib.stride_tricks.sliding_window_view(lines, 5, axis=-1)
        five = (windows == windows[..., :1]).all(axis=-1)
        begins = five.copy()
        begins[..., 1:] &= ~five[..., :-1]
        points += five.sum(axis=(-1, -2)) + 2 * begins.sum(axis=(-1, -2))
        windows = np.lib.stride_tricks.sliding_window_view(lines, 11, axis=-1)
        for pattern in ((*finder, 0, 0, 0, 0), (0, 0, 0, 0, *finder)):
            points += 40 * (windows == np.array(pattern, dtype=bool)).all(axis=-1).sum(axis=(-1, -2))
    top, bottom = modules[..., :-1, :], modules[..., 1:, :]
    blocks = (top == bottom)[..., :-1] & (top[..., :-1] == top[..., 1:]) & (bottom[..., :-1] == bottom[..., 1:])
    points += 3 * blocks.sum(axis=(-1, -2))
    return points + _balance_points(modules.sum(axis=(-1, -2)), side)


def symbol_path(modules: np.ndarray) -> str:
    """PDF operators for one filled path of all dark modules, one unit a module, y downwards from the top left.

    Runs of dark modules in a row become one rectangle, and equal runs under one another too. It is one path with one
    fill, so no viewer shows seams between its rectangles.
    """
    return symbol_paths(modules[None])[0]


def symbol_paths(batch: np.ndarray) -> list[str]:
    """`symbol_path` of many symbols of one size, shape (symbols, modules, modules), at once."""
    count, side, _ = batch.shape
    width = side + 1
    padded = np.zeros((count, side, side + 2), dtype=np.int8)
    padded[:, :, 1:-1] = batch
    edges = np.flatnonzero(np.diff(padded, axis=2))
    begins, lengths = edges[0::2], edges[1::2] - edges[0::2]
    rows, columns = np.divmod(begins, width)
    symbols, rows = np.divmod(rows, side)
    # Equal runs stand together, top to bottom; a rectangle begins wherever the row above does not continue.
    runs = (symbols * width + columns) * width + lengths
    order = np.argsort(runs * side + rows)
    runs, rows = runs[order], rows[order]
    heads = np.flatnonzero(np.append(True, (np.diff(runs) != 0) | (np.diff(rows) != 1)))
    heights = np.diff(np.append(heads, len(rows)))
    heads = order[heads]
    # Reading order repeats more from symbol to symbol, so pages pack tighter.
    order = np.argsort(begins[heads])
    heads = heads[order]
    places = columns[heads] * width + begins[heads] // width % side
    keys = (places * width + lengths[heads]) * width + heights[order]
    operators = _operators(side)
    texts = [operators[key] for key in keys.tolist()]
    ends = np.searchsorted(symbols[heads], np.arange(count + 1)).tolist()
    return [" ".join(texts[begin:end]) + " f" for begin, end in pairwise(ends)]


def svg_path(modules: np.ndarray) -> str:
    """`symbol_path` as the ``d`` of a path in an SVG."""
    return re.sub(r"(\d+) (\d+) (\d+) (\d+) re *f?", r"M\1 \2h\3v\4h-\3z", symbol_path(modules)).replace(" M", "M")


class _Rectangles(dict):
    """The operator for each rectangle a symbol of one size may need, written out once."""

    def __init__(self, width):
        self.width = width

    def __missing__(self, key):
        rest, height = divmod(key, self.width)
        rest, length = divmod(rest, self.width)
        column, row = divmod(rest, self.width)
        operator = self[key] = f"{column} {row} {length} {height} re"
        return operator


@lru_cache(maxsize=8)
def _operators(side):
    return _Rectangles(side + 1)
