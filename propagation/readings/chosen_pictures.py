"""The pictures that a keeper chose for others to see."""

from collections.abc import Iterable

from propagation.models import Colony, Photo, Plug


def chosen_pictures(*, plugs: Iterable[Plug] = (), colonies: Iterable[Colony] = ()) -> dict[Plug | Colony, Photo]:
    """The latest photo that may be shown of each plug or colony that has one.

    A plug without a picture of its own is shown by its mother's. Plugs want their cut event loaded. Two queries at
    most; a photo's ``screen`` and ``thumbnail`` are copies without metadata.
    """
    plugs, colonies = list(plugs), list(colonies)
    of_plug = _latest("plug", [plug.pk for plug in plugs])
    mothers = {plug: plug.cut_event.mother_id for plug in plugs if plug.pk not in of_plug and plug.cut_event_id}
    of_colony = _latest("colony", [*mothers.values(), *(colony.pk for colony in colonies)])
    found = {plug: of_plug.get(plug.pk) or of_colony.get(mothers.get(plug)) for plug in plugs}
    found |= {colony: of_colony.get(colony.pk) for colony in colonies}
    return {thing: photo for thing, photo in found.items() if photo}


def _latest(kind: str, ids: list[int]) -> dict[int, Photo]:
    if not ids:
        return {}
    oldest_first = Photo.objects.shown().exclude(screen="").filter(**{f"{kind}__in": ids}).order_by("taken_on", "id")
    return {getattr(photo, f"{kind}_id"): photo for photo in oldest_first}
