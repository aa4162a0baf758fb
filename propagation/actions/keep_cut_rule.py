from decimal import Decimal

from django.db import IntegrityError, transaction

from propagation.actions.changes import refuse_changed
from propagation.actions.take_size import LARGEST
from propagation.dates import day_in_words
from propagation.errors import BadValue, ChangedMeanwhile
from propagation.lengths import plain
from propagation.models import Colony, CutRule, Lineage, Measure
from propagation.models.cutting import MOST_FRAGS_AT_A_CUT

SIZES = {"keep_at_least": "What must remain", "frag_unit": "What one frag takes", "room": "The largest size"}
LARGEST_SHARE = 95  # percent
LONGEST_REST = 730  # days, as in the table


@transaction.atomic
def keep_cut_rule(
    *,
    lineage: Lineage | None = None,
    colony: Colony | None = None,
    fewest_frags: int | None = None,
    largest_share: int | None = None,
    rest_days: int | None = None,
    measure: str = "",
    keep_at_least: Decimal | None = None,
    frag_unit: Decimal | None = None,
    room: Decimal | None = None,
    based_on: int | None = None,
    by=None,
) -> CutRule | None:
    """Say how a line, or one colony of it, is cut; what is None falls back to the line and to what is usual.

    Sizes are as they are stored (mm, cm, cm², g, polyps), ``largest_share`` is in percent. Returns the rule, or None if
    nothing is set any more: the rule is taken away then, and its history stays. A line's days of rest stand on the line
    itself.

    Raises BadValue, and ChangedMeanwhile if ``based_on`` is not its last change (0 for none kept yet).
    """
    if (lineage is None) == (colony is None):
        raise BadValue("A rule of cutting is of one lineage or of one colony.")
    if colony is not None and colony.ended_on is not None:
        raise BadValue(f"{colony} ended on {day_in_words(colony.ended_on)}; it is not cut any more.")
    sizes = {"keep_at_least": keep_at_least, "frag_unit": frag_unit, "room": room}
    _check(lineage, fewest_frags, largest_share, rest_days, measure, sizes)
    told = {"fewest_frags": fewest_frags, "largest_share": largest_share, "rest_days": rest_days} | sizes
    rule = CutRule.objects.select_for_update().filter(lineage=lineage, colony=colony).first()
    if rule is not None:
        refuse_changed(rule, based_on=based_on, what=f"How {lineage or colony} is cut")
    elif based_on:
        raise ChangedMeanwhile(f"How {lineage or colony} is cut")
    if all(value is None for value in told.values()):
        if rule is not None:
            rule._history_user = by
            rule.delete()
        return None
    rule = rule or CutRule(lineage=lineage, colony=colony)
    for name, value in told.items():
        setattr(rule, name, value)
    rule.measure = measure if any(size is not None for size in sizes.values()) else ""
    rule._history_user = by
    try:
        with transaction.atomic():
            rule.save()
    except IntegrityError as error:  # the first rule, set by two at once
        raise ChangedMeanwhile(f"How {lineage or colony} is cut") from error
    return rule


def _check(lineage, fewest_frags, largest_share, rest_days, measure, sizes) -> None:
    if lineage is not None and rest_days is not None:
        raise BadValue("The days of rest of a line are set where the line is changed.", field="rest_days")
    for field, name, value, least, most in (
        ("fewest_frags", "The fewest frags", fewest_frags, 1, MOST_FRAGS_AT_A_CUT),
        ("largest_share", "The largest share", largest_share, 1, LARGEST_SHARE),
        ("rest_days", "The days of rest", rest_days, 0, LONGEST_REST),
    ):
        if value is not None and not least <= value <= most:
            raise BadValue(f"{name} must lie between {least} and {most}, not be {value}.", field=field)
    set_sizes = {field: size for field, size in sizes.items() if size is not None}
    if set_sizes and measure not in Measure.values:
        raise BadValue("Say what the sizes are sizes of.", field="measure")
    for field, size in set_sizes.items():
        if not size.is_finite() or not Decimal("0.01") <= size <= LARGEST[measure]:
            raise BadValue(
                f"{SIZES[field]} must be more than nothing and at most {plain(LARGEST[measure])} "
                f"{Measure(measure).unit}.",
                field=field,
            )
        if measure == Measure.POLYPS and size != size.to_integral_value() and field != "frag_unit":
            raise BadValue(f"Polyps are counted whole; {plain(size)} cannot be right.", field=field)
    remain, unit, room = sizes["keep_at_least"], sizes["frag_unit"], sizes["room"]
    if room is not None and (remain or 0) + (unit or 0) >= room:
        raise BadValue(
            "The place must allow more than what must remain and one frag together, or it could never be cut.",
            field="room",
        )
