"""How a line or a colony is cut where nothing of its own is set, and why."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from propagation.forecasts.gathering import frag_units, usual_frag_unit
from propagation.models import Colony, CutRule, Lineage, Preferences
from propagation.yield_model.next_cut import FEWEST_FRAGS, LARGEST_SHARE, default_rules

SIZES = ("keep_at_least", "frag_unit", "room")


@dataclass(frozen=True)
class Holds:
    """What holds while a field is empty, as it is stored, and why; None for no limit."""

    value: Decimal | None
    why: str


def what_holds(lineage: Lineage, measure: str, day: date, *, colony: Colony | None = None) -> dict[str, Holds]:
    """What holds by field of `CutRule` where a line, or a colony of it, sets nothing of its own. Three queries.

    A colony falls back to its line; a line to what was learned from its cuts and what is usual for its growth form.
    """
    line = CutRule.objects.filter(lineage=lineage).first() if colony is not None else None
    learned = frag_units(day).get((lineage.pk, measure))
    unit = learned or usual_frag_unit(lineage, measure)
    rules = default_rules(measure, lineage.growth_form, frag_unit=unit)
    if learned and learned.cuts:
        why_unit = f"learned from {learned.cuts} cut{'s' if learned.cuts != 1 else ''} of the line"
    else:
        why_unit = "usual for frags of this line's size"
    usual = {
        "fewest_frags": Holds(Decimal(FEWEST_FRAGS), "usual"),
        "largest_share": Holds(Decimal(round(LARGEST_SHARE * 100)), "usual"),
        "keep_at_least": Holds(_stored(rules.keep_at_least), "usual"),
        "frag_unit": Holds(_stored(unit.mean), why_unit),
        "room": Holds(None, "no limit"),
    }
    if lineage.rest_days is None:
        usual["rest_days"] = Holds(Decimal(Preferences.current().rest_days), "as in the preferences")
    else:
        usual["rest_days"] = Holds(Decimal(lineage.rest_days), f"as {lineage} has it")
    if line is None:
        return usual
    return {name: _of_line(line, name, measure, lineage) or holds for name, holds in usual.items()}


def _of_line(line: CutRule, name: str, measure: str, lineage: Lineage) -> Holds | None:
    value = getattr(line, name)
    if value is None or (name in SIZES and line.measure != measure):
        return None
    return Holds(Decimal(value), f"as {lineage} has it")


def _stored(size: float) -> Decimal:
    return Decimal(str(round(size, 2)))
