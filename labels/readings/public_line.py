"""What a stranger who scans a label may see: the line and its descent with days, and nothing of the keeper's."""

from dataclasses import dataclass
from datetime import date

from labels.readings.passports import before_acquisitions
from propagation import codes
from propagation.models import Colony, Fate, Lineage, Photo, Plug
from propagation.provenance import EarlierKeeper
from propagation.readings.chosen_pictures import chosen_pictures
from propagation.readings.trace import ancestry_of, as_day


@dataclass(frozen=True)
class PublicStep:
    """One step of the line of descent. Of a mother its tag, of an acquisition the day alone."""

    day: date
    icon: str
    title: str
    detail: str = ""


@dataclass(frozen=True)
class PublicLine:
    """A line of descent without contacts, prices, places, notes, other codes or numbers of stock."""

    code_in_clear: str
    lineage_name: str
    binomial: str
    origin: str
    is_colony: bool
    tag: str
    day: date
    is_cut: bool
    generations: int
    began: date
    steps: tuple[PublicStep, ...]
    before: tuple[EarlierKeeper, ...] = ()  # what earlier keepers told in passports
    photo: Photo | None = None  # that the keeper chose for others to see


def public_individual(text: str) -> Plug | Colony | None:
    """The plug or colony with this code, in either case; None if there is none, or a plug recorded by mistake."""
    bare = codes.strip_code(text)[: codes.LENGTH]
    plug = Plug.objects.exclude(fate=Fate.VOID).select_related("lineage", "cut_event").filter(code=bare).first()
    colony = Colony.objects.select_related("lineage").filter(code=bare).first()
    return plug or colony


def public_line(text: str) -> PublicLine | None:
    """The line of the plug or colony with this code, in either case; None if there is none.

    A mistyped code is looked up like any other, so neither the answer nor the time it takes tells them apart.
    """
    found = public_individual(text)
    if found is None:
        return None
    plug, colony = (found, None) if isinstance(found, Plug) else (None, found)
    generations = ancestry_of(found)
    lineage: Lineage = found.lineage
    return PublicLine(
        code_in_clear=found.code_in_clear,
        lineage_name=lineage.name,
        binomial=lineage.binomial,
        origin="" if lineage.origin == "unknown" else lineage.get_origin_display(),
        is_colony=plug is None,
        tag="" if plug else colony.tag,
        day=found.began_on,
        is_cut=bool(plug and plug.cut_event_id),
        generations=sum(1 for row in generations if row.cut_event_id),
        began=as_day(generations[-1].acquired_on),
        steps=tuple(_steps(generations)),
        photo=next(iter(chosen_pictures(**{"plugs" if plug else "colonies": [found]}).values()), None),
        before=tuple(
            before_acquisitions([row.acquisition_id for row in generations if row.acquisition_id], for_strangers=True)
        ),
    )


def _steps(generations):
    for row in generations:
        if row.cut_event_id:
            what = "This frag was cut" if row.depth == 0 else "Cut"
            yield PublicStep(as_day(row.plug_began_on), "cut", what, f"from the mother colony {row.tag}")
        if row.tag and row.colony_began_on != row.acquired_on:
            yield PublicStep(as_day(row.colony_began_on), "colonies", f"Colony {row.tag} began")
        if row.acquisition_id:
            came_back = row.acquired_as == "returned"
            yield PublicStep(
                as_day(row.acquired_on), "acquired", "Came back to the keeper" if came_back else "Came to the keeper"
            )
