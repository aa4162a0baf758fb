"""What a care note advises, and what a paper's file is called."""

from collections.abc import Iterable

from labels.drawing.papers.contents import Advice
from labels.drawing.typesetting import clusters, tidy
from propagation.models import GrowthForm, Lineage, Origin

# Genera of zoanthids, which may carry palytoxin (CDC MMWR 2015;64:852–855); all of it from memory.
ZOANTHIDS = {"palythoa", "protopalythoa", "zoanthus", "sphenopus", "isaurus", "parazoanthus", "epizoanthus"}
NOT_IN_NAMES = frozenset('/\\:*?"<>|')  # of files, on one system or another
LONGEST_NAME = 150  # bytes; most file systems take 255, and a folder wants its share

# All of it common practice, no source, unless a line says otherwise.
FIRST_DAYS = Advice(
    "The first days",
    (
        "Float the closed bag for a quarter of an hour, then add water of your tank to it bit by bit for half an hour. "
        "What it travelled in goes down a drain to the sewer: never into the tank, never outdoors.",
        "Begin with less light than it knew, low or in the shade, and come up to it over two to three weeks.",
        "Keep warmth, salinity and alkalinity steady. Corals get used to many values, and badly to sudden changes.",
        "Closed polyps and some slime are usual for a few days. White that spreads, or tissue that comes off, is not: "
        "ask whoever gave it to you.",
    ),
)
BEFORE_IT_GOES_IN = (
    "Look at it from all sides for eggs and for what crawls, and keep it by itself for some weeks if you can.",
    "If you dip it: gloves and eye protection on, as its bottle says, in a bowl. Rinse it in tank water, and pour "
    "nothing of the dip into the tank.",
)
HANDLING = (
    "Hold it by its plug, with wet gloves. Wash your hands; clean every cut in your skin and watch it.",
    "Leave room on all sides: many corals sting their neighbours, at night further than by day.",
)
PALYTOXIN = (
    "{who} can carry palytoxin, a strong poison: never boil, scrub dry or spray it. Gloves and eye protection on, air "
    "the room, wash down. If you feel ill afterwards get medical help at once, and say what you handled."
)
# CITES Appendix II for Scleractinia, Res. Conf. 12.3 for source codes: from memory.
PERMITS = (
    "Stony corals are listed in Appendix II of CITES: to cross a border they need permits beforehand. Which source "
    "code applies is for the authority to say; this note does not decide it.",
    "Some species are protected by national law besides. Selling, sending live animals and taxes follow local rules: "
    "the law of your place and licensed people come before this note.",
    "On the way: closed bags in an insulated box, upright, neither too warm nor too cold, and no longer than needed.",
    "Never release a coral, its plug or its water into the wild.",
)


def advice_for(lineages: Iterable[Lineage]) -> tuple[Advice, ...]:
    """The usual cautions, with what these lineages need besides."""
    lineages = list(lineages)
    handling = HANDLING
    if any(lineage.genus.lower() in ZOANTHIDS for lineage in lineages):
        handling = (PALYTOXIN.format(who="A zoanthid"), *HANDLING)
    elif any(not lineage.genus and lineage.growth_form == GrowthForm.POLYPS for lineage in lineages):
        handling = (PALYTOXIN.format(who="If it is a zoanthid, it"), *HANDLING)
    origins = list(dict.fromkeys(lineage.origin for lineage in lineages))
    recorded = ()
    if len(origins) == 1 and origins[0] != Origin.UNKNOWN:
        recorded = (f"Origin as recorded: {Origin(origins[0]).label.lower()}.",)
    return (
        FIRST_DAYS,
        Advice("Before it goes in", BEFORE_IT_GOES_IN),
        Advice("Handling", handling),
        Advice("Permits and transport", (*recorded, *PERMITS)),
    )


def file_name(*words: str, suffix: str = ".pdf") -> str:
    """A name that a file may have on any system, of words in any script: no slash, no quote, no line break.

    ``file_name("Certificate", "K7M4-2QXP", 'a/b "x"')`` → ``Certificate K7M4-2QXP a-b -x-.pdf``
    """
    told = tidy(" ".join(filter(None, words)))
    kept = "".join("-" if each in NOT_IN_NAMES else each for each in told)
    name, used = "", 0
    for cluster in clusters(kept):
        used += len(cluster.encode())
        if used > LONGEST_NAME:
            break
        name += cluster
    return f"{name.strip(' .-') or 'Paper'}{suffix}"
