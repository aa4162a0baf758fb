"""Finding a plug, a colony or a lineage by what a keeper types or scans."""

import re

from rapidfuzz import fuzz, process

from propagation import codes
from propagation.errors import NothingFound
from propagation.models import Colony, Lineage, Plug, Spot

NEAR_ENOUGH = 60  # rapidfuzz ratio, 0-100; tried on tags one slip away
MOST_COMPARED = 5000  # tags looked through for a near one


def code_in(text: str) -> str:
    """What stands after the last slash of a scanned address, or the text itself."""
    return re.split(r"[/?#]", text.strip().rstrip("/"))[-1] if "/" in text else text.strip()


def near(text: str, names, *, most=3) -> list[str]:
    """The names that a slip may have turned into this text, nearest first."""
    found = process.extract(
        text, list(names), scorer=fuzz.ratio, processor=str.upper, limit=most, score_cutoff=NEAR_ENOUGH
    )
    return [name for name, _, _ in found]


def find_plug(text: str, *, among=None) -> Plug:
    """The plug with this code, typed or scanned, in either case, with or without dashes.

    Raises CodeMistyped if the check character does not fit, NothingFound otherwise.
    """
    bare = codes.read_code(code_in(text))
    plug = (Plug.objects.all() if among is None else among).filter(code=bare).first()
    if plug is None:
        raise NothingFound("plug with the code", codes.in_clear(bare))
    return plug


def find_colony(text: str, *, among=None) -> Colony:
    """The colony with this tag or code. Raises NothingFound with the nearest tags."""
    colonies = Colony.objects.all() if among is None else among
    text = code_in(text)
    colony = colonies.filter(tag__iexact=text).first()
    if colony is None and codes.looks_like_code(text):
        colony = colonies.filter(code=codes.strip_code(text)).first()
    if colony is None:
        tags = colonies.order_by("-began_on").values_list("tag", flat=True)[:MOST_COMPARED]
        raise NothingFound("colony with the tag", text, near(text, tags))
    return colony


def find_lineage(text: str) -> Lineage:
    """The lineage kept under this name. Raises NothingFound with the nearest names."""
    lineage = Lineage.objects.filter(name__iexact=text.strip()).first()
    if lineage is None:
        names = Lineage.objects.values_list("name", flat=True)[:MOST_COMPARED]
        raise NothingFound("lineage named", text.strip(), near(text, names))
    return lineage


def find_rack(text: str) -> Spot:
    """The rack of this name in a running system. Raises NothingFound with the nearest names."""
    racks = Spot.objects.racks().in_running_systems()
    rack = racks.filter(name__iexact=text.strip()).first()
    if rack is None:
        raise NothingFound("rack named", text.strip(), near(text, racks.values_list("name", flat=True)))
    return rack


def find_plug_or_colony(text: str) -> Plug | Colony:
    """Whatever carries this code or tag: a tag first, then a code.

    Raises CodeMistyped for what is as long as a code but does not fit together, NothingFound otherwise.
    """
    text = code_in(text)
    colony = Colony.objects.filter(tag__iexact=text).first()
    if colony is not None:
        return colony
    if codes.looks_like_code(text):
        bare = codes.strip_code(text)
        found = Plug.objects.filter(code=bare).first() or Colony.objects.filter(code=bare).first()
        if found is not None:
            return found
        codes.read_code(text)
        raise NothingFound("plug or colony with the code", codes.in_clear(bare))
    try:
        return find_colony(text)
    except NothingFound as error:
        raise NothingFound("plug or colony called", text, error.near) from None
