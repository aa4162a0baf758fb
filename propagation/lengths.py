"""Sizes in the keeper's unit. They are stored in mm, cm and cm²; who thinks in inches reads and types inches."""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from propagation.models.terms import Measure

MM_IN_AN_INCH = Decimal("25.4")  # exact since 1959, NIST SP 811 appendix B
CM_IN_AN_INCH = Decimal("2.54")
INCH = "inch"


@dataclass(frozen=True)
class Unit:
    """How one measure is shown: ``stored = shown × factor``."""

    name: str
    factor: Decimal
    places: int

    def shown(self, stored) -> Decimal:
        """The stored size in this unit, rounded to what is worth reading."""
        value = Decimal(stored) / self.factor
        return value.quantize(Decimal(1).scaleb(-self.places), ROUND_HALF_UP)

    def stored(self, shown) -> Decimal:
        """What was typed in this unit, as it is stored (two places)."""
        return (Decimal(shown) * self.factor).quantize(Decimal("0.01"), ROUND_HALF_UP)

    def text(self, stored) -> str:
        """E.g. ``84.5 mm`` or ``3.33 in``; zeros at the end are left out."""
        return f"{plain(self.shown(stored))} {self.name}"

    @property
    def step(self) -> str:
        return {0: "1", 1: "0.5", 2: "0.05"}[self.places]


def plain(number: Decimal) -> str:
    """A decimal as a person writes it: no exponent, no zeros at the end."""
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def unit_of(measure: str, length_unit: str) -> Unit:
    """The unit in which a measure is shown to a keeper who chose ``"mm"`` or ``"inch"``."""
    if measure == Measure.POLYPS:
        return Unit("polyps", Decimal(1), 0)
    if measure == Measure.WEIGHT:
        return Unit("g", Decimal(1), 1)
    if length_unit != INCH:
        return Unit(Measure(measure).unit, Decimal(1), 1)
    return {
        Measure.BRANCH_LENGTH: Unit("in", CM_IN_AN_INCH, 2),
        Measure.DIAMETER: Unit("in", MM_IN_AN_INCH, 2),
        Measure.HEIGHT: Unit("in", MM_IN_AN_INCH, 2),
        Measure.AREA: Unit("in²", CM_IN_AN_INCH**2, 2),
    }[Measure(measure)]


def measure_name(measure: str, length_unit: str) -> str:
    """E.g. ``Longest diameter (in)``."""
    bare = Measure(measure).label.split(" (")[0]
    unit = unit_of(measure, length_unit).name
    return bare if measure == Measure.POLYPS else f"{bare} ({unit})"
