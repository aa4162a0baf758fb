"""What a keeper may mean by what they type into the search for a line of descent."""

from dataclasses import dataclass, field

from propagation import codes
from propagation.errors import NothingFound
from propagation.models import Colony, Lineage, Plug
from propagation.readings.find import MOST_COMPARED, code_in, find_plug_or_colony, near

MOST_SHOWN = 24


@dataclass
class Found:
    """One that is certainly meant, or several that may be."""

    individual: Plug | Colony | None = None
    colonies: list[Colony] = field(default_factory=list)
    plugs: list[Plug] = field(default_factory=list)


def search_lines(text: str) -> Found:
    """Plugs and colonies by a code, a tag or a part of it, or the name of their line. At most five queries.

    Raises CodeMistyped for what is as long as a code but does not fit together, NothingFound with near tags and names.
    """
    text = code_in(text)
    named = Lineage.objects.named(text)
    if not codes.looks_like_code(text) or not named.exists():
        try:
            return Found(individual=find_plug_or_colony(text))
        except NothingFound as error:
            if codes.looks_like_code(text):
                raise
            nothing = error
    else:
        nothing = None
    colonies = list(Colony.objects.matching(text).select_related("lineage").order_by("began_on", "tag")[:MOST_SHOWN])
    plugs = list(
        Plug.objects.kept()
        .filter(lineage__in=named, acquisition__isnull=False)
        .select_related("lineage")
        .order_by("-began_on", "id")[:MOST_SHOWN]
    )
    if len(colonies) + len(plugs) == 1:
        return Found(individual=(colonies or plugs)[0])
    if colonies or plugs:
        return Found(colonies=colonies, plugs=plugs)
    names = Lineage.objects.values_list("name", flat=True)[:MOST_COMPARED]
    hints = [*(nothing.near if nothing else []), *near(text, names)]
    raise NothingFound("plug, colony or line called", text, hints[:3])
