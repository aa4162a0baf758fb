"""Mothers as the cutting bench shows them: what can be cut, what was usual, and why one should be left alone."""

from dataclasses import dataclass, field
from datetime import date

from django.db.models import Count, Exists, IntegerField, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce

from propagation.actions.record_cutting import Caution, cautions_on
from propagation.dates import day_in_words
from propagation.errors import BadValue
from propagation.models import Colony, ColonyOutlook, CutEvent, Incident, Plug
from propagation.readings.find import find_plug_or_colony

MOST_SHOWN = 24  # more than a thumb scrolls through; the rest is found by searching


@dataclass(frozen=True)
class BenchMother:
    """One mother on the bench on a day."""

    colony: Colony
    cautions: list[Caution] = field(default_factory=list)
    outlook: ColonyOutlook | None = None

    @property
    def living_copies(self) -> int:
        return self.colony.living_colonies + self.colony.insurance_plugs

    @property
    def missing_copies(self) -> int:
        """How many living copies the line has less than are wanted."""
        return max(self.colony.lineage.insurance_wanted - self.living_copies, 0)


def _number_of(rows):
    counted = rows.filter(lineage=OuterRef("lineage")).order_by().values("lineage").annotate(number=Count("pk"))
    return Coalesce(Subquery(counted.values("number"), output_field=IntegerField()), 0)


def bench_mothers(ids, day: date) -> list[BenchMother]:
    """The mothers of these ids, in their order, with what the yield model last said of them that day; three queries."""
    found = (
        Colony.objects.with_rest(day)
        .select_related("lineage")
        .annotate(
            living_colonies=_number_of(Colony.objects.alive()), insurance_plugs=_number_of(Plug.objects.insurance())
        )
        .in_bulk(ids)
    )
    cautions = cautions_on(found.values(), day)
    outlooks = ColonyOutlook.objects.filter(for_day=day).defer("state").in_bulk(ids)
    return [BenchMother(found[pk], cautions.get(pk, []), outlooks.get(pk)) for pk in ids if pk in found]


def find_mother(text: str, *, day: date) -> Colony:
    """The colony with this tag or code, if it lives on the day.

    Raises NothingFound, CodeMistyped, and BadValue if it is a plug or the colony does not live on that day.
    """
    found = find_plug_or_colony(text)
    if isinstance(found, Plug):
        raise BadValue(
            f"{found.code_in_clear} is a plug, not a mother. Grow it on first, then it is a colony that can be cut."
        )
    if found.ended_on is not None and found.ended_on < day:
        raise BadValue(
            f"{found.tag} ended on {day_in_words(found.ended_on)} ({found.get_end_reason_display().lower()}), "
            f"so it was not cut on {day_in_words(day)}."
        )
    if found.began_on > day:
        raise BadValue(
            f"{found.tag} began on {day_in_words(found.began_on)}, so it was not cut on {day_in_words(day)}."
        )
    return found


def mothers_to_offer(day: date, *, text: str = "", leave_out=(), most: int = MOST_SHOWN) -> list[int]:
    """Ids of the mothers that live on a day and match what was typed: first those that may be cut, most often cut and
    most lately cut before others; one query over all living mothers.
    """
    cuts = CutEvent.objects.filter(mother=OuterRef("pk"), frags__gt=0).order_by().values("mother")
    unwell = Incident.objects.open().filter(
        Q(colony=OuterRef("pk"))
        | Q(system__spots__placements__colony=OuterRef("pk"), system__spots__placements__until=None)
    )
    colonies = Colony.objects.alive_on(day).exclude(pk__in=leave_out)
    if text:
        colonies = colonies.matching(text)
    rows = (
        colonies.with_rest(day)
        .annotate(
            times_cut=Coalesce(Subquery(cuts.annotate(number=Count("pk")).values("number")), 0),
            is_unwell=Exists(unwell),
        )
        .order_by("tag")
        .only("pk", "tag", "ended_on")
    )

    def last_things_first(mother):
        rests = mother.rested_on is not None and day < mother.rested_on
        exact = text.casefold() == mother.tag.casefold()
        alone = mother.ended_on is not None or rests or mother.is_unwell
        lately = -mother.last_cut_on.toordinal() if mother.last_cut_on else 0
        return (not exact, alone, -mother.times_cut, lately, mother.tag)

    return [mother.pk for mother in sorted(rows, key=last_things_first)[:most]]
