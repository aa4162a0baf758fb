"""Plugs that were ticked in a list or named in an address."""

from django.db.models import Q

from propagation import codes
from propagation.errors import BadValue, NothingFound
from propagation.models import Colony, Plug

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


def things_chosen(words) -> list[Plug | Colony]:
    """The plugs with these codes and the colonies with these codes or tags, in the order of the words, each once.

    Two queries. Raises BadValue if there are too many, NothingFound for a word that names nothing.
    """
    words = list(dict.fromkeys(word.strip() for word in words if word.strip()))
    if len(words) > MOST_CHOSEN:
        raise BadValue(f"{len(words)} are too many at once; choose {MOST_CHOSEN} at most.", field="plugs")
    bare = {word: codes.strip_code(word) for word in words}
    plugs = Plug.objects.filter(code__in=set(bare.values())).select_related("lineage", "rack__system")
    by_code = {plug.code: plug for plug in plugs}
    missing = [word for word in words if bare[word] not in by_code]
    colonies = Colony.objects.filter(Q(code__in=[bare[word] for word in missing]) | Q(tag__in=missing))
    by_word = {}
    for colony in colonies.select_related("lineage") if missing else []:
        by_word |= {colony.code: colony, colony.tag: colony}
    found = []
    for word in words:
        thing = by_code.get(bare[word]) or by_word.get(word) or by_word.get(bare[word])
        if thing is None:
            raise NothingFound("plug or colony", word)
        found.append(thing)
    return list(dict.fromkeys(found))
