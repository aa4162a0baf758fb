"""Plugs that were ticked in a list or named in an address."""

from propagation import codes
from propagation.errors import BadValue, NothingFound
from propagation.models import Plug

MOST_CHOSEN = 1000


def plugs_chosen(words, *, among=None) -> list[Plug]:
    """The plugs with these codes or ids, in the order of the words, each once. One query.

    Raises BadValue if there is none or there are too many, NothingFound for a word that names no plug.
    """
    words = list(dict.fromkeys(codes.strip_code(word) for word in words if word.strip()))
    if not words:
        raise BadValue("Choose at least one plug first.", field="plugs")
    if len(words) > MOST_CHOSEN:
        raise BadValue(f"{len(words)} plugs are too many at once; choose {MOST_CHOSEN} at most.", field="plugs")
    plugs = (Plug.objects.all() if among is None else among).select_related("lineage")
    as_codes = [word for word in words if len(word) == codes.LENGTH]
    as_ids = [int(word) for word in words if len(word) != codes.LENGTH and word.isascii() and word.isdigit()]
    by_word = {plug.code: plug for plug in plugs.filter(code__in=as_codes)} if as_codes else {}
    if as_ids:
        by_word |= {str(plug.pk): plug for plug in plugs.filter(pk__in=[pk for pk in as_ids if pk < 2**63])}
    for word in words:
        if word not in by_word:
            raise NothingFound("plug with the code", word)
    return list(dict.fromkeys(by_word[word] for word in words))
