"""How far forecasts kept their word: stated against seen shares, and where outcomes fell in the forecast."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, lgamma, log

from propagation.pictures.drawing import Drawing, Key, Line, Path, Picture, Sheet, how_many
from propagation.pictures.scales import Axis, nice_values

CHANCE = 0.95  # share of bars that lie in the band when the forecasts are right


@dataclass(frozen=True)
class StatedShare:
    """Of ``count`` forecasts that stated ``stated``, the share ``seen`` came true; ``low`` to ``high`` its interval."""

    stated: float
    seen: float
    count: int
    low: float
    high: float


@dataclass(frozen=True)
class Calibration:
    """Both pictures; each is None without forecasts."""

    shares: Picture | None
    ranks: Picture | None


def calibration(title: str, rows: Sequence[StatedShare], ranks: Sequence[int]) -> Calibration:
    """``rows`` are shares from 0 to 1; ``ranks`` counts of outcomes in equal parts of the forecast, lowest first."""
    return Calibration(_shares(title, [row for row in rows if row.count > 0]), _ranks(title, ranks))


def _shares(title, rows):
    if not rows:
        return None
    rows = sorted(rows, key=lambda row: row.stated)
    return Picture(
        title=f"{title}: stated and seen",
        words=" ".join(
            f"Of {how_many(row.count, 'forecast')} that stated {row.stated:.0%}, {row.seen:.0%} came true "
            f"({row.low:.0%} to {row.high:.0%})."
            for row in rows
        ),
        drawings=(_draw_shares(rows, Sheet("narrow", 300)), _draw_shares(rows, Sheet("wide", 400))),
        legend=(
            Key((Line(2, 12, 26, 2, "level"),), "stated = seen"),
            Key((Line(14, 1, 14, 13, "whisker-likely"), Path("M14 7h.1", "point")), "seen, with its uncertainty"),
        ),
        headings=("Stated", "Seen", "Low", "High", "Forecasts"),
        rows=tuple(
            (*(f"{value:.0%}" for value in (row.stated, row.seen, row.low, row.high)), str(row.count)) for row in rows
        ),
    )


def _draw_shares(rows, sheet: Sheet) -> Drawing:
    sheet.left, sheet.top, sheet.floor = 48, 26, sheet.height - 40
    sheet.right = min(sheet.width - 16, sheet.left + 1.25 * (sheet.floor - sheet.top))
    up, across = Axis(0, 1, sheet.floor, sheet.top), Axis(0, 1, sheet.left, sheet.right)
    for share in (0, 0.25, 0.5, 0.75, 1):
        sheet.line(sheet.left, up(share), sheet.right, up(share), "rule")
        sheet.write(sheet.left - 6, up(share) + 4.5, f"{share:.0%}", "words-soft", "end")
        sheet.line(across(share), sheet.floor, across(share), sheet.floor + 4, "axis")
        sheet.write(
            sheet.fits(across(share), f"{share:.0%}", "middle"),
            sheet.floor + 19,
            f"{share:.0%}",
            "words-soft",
            "middle",
        )
    sheet.line(sheet.left, sheet.floor, sheet.right, sheet.floor, "axis")
    sheet.write(1, 13, "came true", "words-soft")
    sheet.write((sheet.left + sheet.right) / 2, sheet.height - 4, "the forecast stated", "words-soft", "middle")
    sheet.line(across(0), up(0), across(1), up(1), "level")
    for row in rows:
        x = across(row.stated)
        sheet.line(x, up(row.low), x, up(row.high), "whisker-likely")
        sheet.path(f"M{x:.1f} {up(row.seen):.1f}h.1", "point")
    return sheet.done()


def _ranks(title, counts):
    total = sum(counts)
    if not total:
        return None
    low, high = chance_band(total, 1 / len(counts))
    outside = sum(not low <= count <= high for count in counts)
    return Picture(
        title=f"{title}: where outcomes fell",
        words=f"{how_many(total, 'outcome')} in {len(counts)} equal parts of the forecast, lowest first: "
        f"{', '.join(map(str, counts))}. Right forecasts give {total / len(counts):.3g} in each, by chance {low} to "
        f"{high}. {outside} of {len(counts)} lie outside.",
        drawings=tuple(
            _draw_ranks(counts, low, high, Sheet(size, height)) for size, height in (("narrow", 230), ("wide", 300))
        ),
        legend=(
            Key((Path("M6 2H22V13H6Z", "bar"),), "outcomes"),
            Key((Line(2, 7, 26, 7, "level"),), "level, if forecasts are right"),
            Key((Path("M2 1H26V13H2Z", "band"), Path("M2 1H26M2 13H26", "band-edge")), f"by chance, {CHANCE:.0%}"),
        ),
        headings=("Part of the forecast", "Outcomes", "By chance from", "To"),
        rows=tuple(
            (
                f"{100 * index / len(counts):.0f} – {100 * (index + 1) / len(counts):.0f} %",
                str(count),
                str(low),
                str(high),
            )
            for index, count in enumerate(counts)
        ),
    )


def chance_band(total: int, share: float, chance: float = CHANCE) -> tuple[int, int]:
    """The counts between which a binomial count lies with the chance: its quantiles at both tails."""
    tail, below, low = (1 - chance) / 2, 0.0, None
    for count in range(total + 1):
        below += exp(
            lgamma(total + 1)
            - lgamma(count + 1)
            - lgamma(total - count + 1)
            + (count * log(share) if count else 0)
            + ((total - count) * log(1 - share) if total > count else 0)
        )
        if low is None and below >= tail:
            low = count
        if below >= 1 - tail:
            return low, count
    return low or 0, total


def _draw_ranks(counts, low, high, sheet: Sheet) -> Drawing:
    ticks = nice_values(0, max([*counts, high]), most=4)
    sheet.left, sheet.right, sheet.top, sheet.floor = 34, sheet.width - 12, 26, sheet.height - 40
    up, across = Axis(0, ticks[-1], sheet.floor, sheet.top), Axis(0, len(counts), sheet.left, sheet.right)
    for value in ticks:
        sheet.line(sheet.left, up(value), sheet.right, up(value), "rule")
        if float(value).is_integer():
            sheet.write(sheet.left - 6, up(value) + 4.5, f"{value:.0f}", "words-soft", "end")
    sheet.write(1, 13, "outcomes", "words-soft")
    sheet.box(sheet.left, up(high), sheet.right - sheet.left, up(low) - up(high), "band")
    for index, count in enumerate(counts):
        sheet.box(across(index) + 2, up(count), across(1) - across(0) - 4, sheet.floor - up(count), "bar")
    for value in (low, high):
        sheet.line(sheet.left, up(value), sheet.right, up(value), "band-edge")
    level = up(sum(counts) / len(counts))
    sheet.line(sheet.left, level, sheet.right, level, "level")
    sheet.line(sheet.left, sheet.floor, sheet.right, sheet.floor, "axis")
    sheet.write(sheet.left, sheet.floor + 19, "lowest", "words-soft")
    sheet.write((sheet.left + sheet.right) / 2, sheet.floor + 19, "median", "words-soft", "middle")
    sheet.write(sheet.right, sheet.floor + 19, "highest", "words-soft", "end")
    sheet.write((sheet.left + sheet.right) / 2, sheet.height - 4, "part of the forecast", "words-soft", "middle")
    return sheet.done()
