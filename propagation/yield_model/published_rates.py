"""Published growth rates: where a growth form's prior starts before the keeper's own readings speak.

Only the numbers and their citations are carried here, not any data set.
"""

from dataclasses import dataclass
from math import pi, sqrt

DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class PublishedRate:
    """One published rate with its range, unit, source, and whether it was read or recalled."""

    taxon: str
    growth_form: str
    quantity: str
    value: float
    low: float
    high: float
    unit: str
    citation: str
    how_known: str


_MADIN = "Madin JS et al. 2020, Biology Letters 16:20190727, doi:10.1098/rsbl.2019.0727"
_GLADFELTER = "Gladfelter EH et al. 1978, Bull. Mar. Sci. 28:728–734"
_SHINN = "Gladfelter EH et al. 1978, Bull. Mar. Sci. 28:728–734; Shinn EA 1966, J. Paleontol. 40:233–240"
_LOUGH = "Lough JM, Barnes DJ 2000, J. Exp. Mar. Biol. Ecol. 245:225–243, doi:10.1016/S0022-0981(99)00168-9"
_PRATCHETT = "reviewed in Pratchett MS et al. 2015, Oceanogr. Mar. Biol. 53:215–295"
_MAXIMUM = "maximum radial extension (95th percentile)"
_READ = "read (authors' result table)"

PUBLISHED_RATES = (
    PublishedRate("Acropora hyacinthus", "tabling", _MAXIMUM, 66, 60, 72, "mm/year", _MADIN, _READ),
    PublishedRate("Acropora cytherea", "tabling", _MAXIMUM, 96, 78, 114, "mm/year", _MADIN, _READ),
    PublishedRate("Acropora intermedia", "branching", _MAXIMUM, 44, 33, 55, "mm/year", _MADIN, _READ),
    PublishedRate("Acropora robusta", "branching", _MAXIMUM, 49, 39, 59, "mm/year", _MADIN, _READ),
    PublishedRate("Acropora cf digitifera", "branching", _MAXIMUM, 19, 15, 23, "mm/year", _MADIN, _READ),
    PublishedRate("Acropora humilis", "branching", _MAXIMUM, 18, 15, 21, "mm/year", _MADIN, _READ),
    PublishedRate("Acropora spathulata", "branching", _MAXIMUM, 33, 29, 37, "mm/year", _MADIN, _READ),
    PublishedRate("Acropora nasuta", "branching", _MAXIMUM, 24, 22, 26, "mm/year", _MADIN, _READ),
    PublishedRate("Acropora millepora", "branching", _MAXIMUM, 24, 21, 27, "mm/year", _MADIN, _READ),
    PublishedRate("Goniastrea retiformis", "massive", _MAXIMUM, 14, 12, 16, "mm/year", _MADIN, _READ),
    PublishedRate("Goniastrea pectinata", "massive", _MAXIMUM, 14, 10, 18, "mm/year", _MADIN, _READ),
    PublishedRate(
        "Seriatopora hystrix", "branching", "specific growth of skeletal weight", 0.9, 0.6, 1.2, "percent/day",
        "median of weighings in mesocosms, University of Mons and HEH, 2018–2019", "computed from the data",
    ),
    PublishedRate("Acropora cervicornis", "branching", "linear extension of a branch", 100, 71, 115, "mm/year", _SHINN,
                  "from memory"),
    PublishedRate("Acropora palmata", "branching", "linear extension of a branch", 70, 47, 99, "mm/year", _GLADFELTER,
                  "from memory"),
    PublishedRate("Porites (massive)", "massive", "linear extension", 13, 8, 18, "mm/year", _LOUGH, "from memory"),
    PublishedRate("Stylophora pistillata", "branching", "linear extension of a branch", 25, 15, 40, "mm/year",
                  _PRATCHETT, "from memory"),
    PublishedRate("Pocillopora damicornis", "branching", "linear extension of a branch", 30, 15, 50, "mm/year",
                  _PRATCHETT, "from memory"),
    PublishedRate("Montipora", "plating", "radial extension", 25, 12, 40, "mm/year", _PRATCHETT, "from memory"),
)  # fmt: skip

# A 95th percentile is what a colony that loses nothing can do; half of it is taken as the middle of a growth form.
# Common practice, no source.
SHARE_OF_MAXIMUM = 0.5

# How wide the prior of a growth form's rate is, as a share of its middle. Published rates of one form differ by a
# factor
# of about three either way, and a tank is not a reef. Common practice, no source.
PRIOR_SPREAD = 1.2

# Growing tips per centimetre of branch, one for each 3 cm. Common practice, no source.
TIPS_PER_CM = 1 / 3

# Heads double in about half a year in a tank that suits them. Common practice, no source.
HEADS_SPECIFIC_RATE = 0.0038

# Weight gain of forms for which nothing was read: a third of the branching frag's. Common practice, no source.
WEIGHT_SPECIFIC_RATE_OTHER = 0.003

# A measure or growth form the keeper made up. Common practice, no source.
UNKNOWN_SPECIFIC_RATE = 0.003
UNKNOWN_SPREAD = 1.5


@dataclass(frozen=True)
class RatePrior:
    """Normal prior of a specific rate at a size: mean and standard deviation (1/day), and what it rests on."""

    mean: float
    standard_deviation: float
    basis: str


def extension_mm_a_year(growth_form):
    """Middle, lowest and highest published extension of a growth form.

    Parameters
    ----------
    growth_form : str
        An unknown form takes all published rates together; encrusting borrows from plating.

    Returns
    -------
    (float, float, float)
        mm a year. A maximum counts with `SHARE_OF_MAXIMUM` for the middle and the lowest.
    """
    form = {"encrusting": "plating", "polyps": "massive"}.get(growth_form, growth_form)
    rows = [rate for rate in PUBLISHED_RATES if rate.unit == "mm/year" and rate.growth_form == form]
    rows = rows or [rate for rate in PUBLISHED_RATES if rate.unit == "mm/year"]
    share = [SHARE_OF_MAXIMUM if rate.quantity == _MAXIMUM else 1.0 for rate in rows]
    middle = sorted(rate.value * part for rate, part in zip(rows, share, strict=True))[len(rows) // 2]
    return middle, min(rate.low * part for rate, part in zip(rows, share, strict=True)), max(r.high for r in rows)


def published_rate_prior(measure, growth_form, size):
    """Prior of a growth form's specific growth rate for a colony of a given size.

    Parameters
    ----------
    measure, growth_form : str
        As in `scales.default_exponent`.
    size : float
        Size at which the rate holds, in the unit of the measure, > 0.

    Returns
    -------
    RatePrior

    Raises
    ------
    ValueError
        If the size is not greater than zero.
    """
    if not size > 0:
        raise ValueError("A size must be a number greater than zero.")
    middle, _, _ = extension_mm_a_year(growth_form)
    cm_a_day = middle / 10 / DAYS_A_YEAR
    form = growth_form or "unknown form"
    if measure == "area_cm2":
        mean, basis = (
            2 * cm_a_day / sqrt(size / pi),
            f"published radial extension ({form}), about {middle:.0f} mm a year",
        )
    elif measure == "diameter_mm":
        mean, basis = 2 * 10 * cm_a_day / size, f"published extension at both ends ({form}), {middle:.0f} mm a year"
    elif measure == "height_mm":
        mean, basis = 10 * cm_a_day / size, f"published extension ({form}), about {middle:.0f} mm a year"
    elif measure == "tle_cm":
        mean, basis = cm_a_day * TIPS_PER_CM, f"published extension ({form}), one growing tip to 3 cm of branch"
    elif measure == "weight_g" and growth_form == "branching":
        mean, basis = 0.009, "skeletal weight of branching frags in mesocosms, 0.6–1.2 % a day"
    elif measure == "weight_g":
        mean, basis = WEIGHT_SPECIFIC_RATE_OTHER, "a third of the branching frag's gain in weight (no source)"
    elif measure == "polyps":
        mean, basis = HEADS_SPECIFIC_RATE, "heads doubling in about half a year (common practice, no source)"
    else:
        return RatePrior(UNKNOWN_SPECIFIC_RATE, UNKNOWN_SPECIFIC_RATE * UNKNOWN_SPREAD, "nothing known of this measure")
    # A tiny frag of a fast form must not be promised to double within a few days.
    mean = min(mean, 0.02)
    return RatePrior(mean, mean * PRIOR_SPREAD, basis)
