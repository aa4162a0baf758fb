"""Tags that are free."""

import re

from propagation.models import Colony, Lineage

NUMBERED = re.compile(r"(.*?)(\d+)")
LONGEST_TAG = Colony._meta.get_field("tag").max_length


def next_tag(lineage: Lineage) -> str:
    """The next free tag for a colony of a lineage, made after the tags that its colonies have or had.

    After M07 comes the next number that no colony has or had; without any such tag the initials of the lineage's name
    begin a row of their own. Two queries.
    """
    own = Colony.objects.filter(lineage=lineage).order_by("-began_on", "-id").values_list("tag", flat=True)
    numbered = next((match for match in map(NUMBERED.fullmatch, own) if match), None)
    head, digits = numbered.groups() if numbered else (_initials(lineage.name), "1")
    used = {
        int(match[2])
        for match in map(
            NUMBERED.fullmatch, Colony.history.filter(tag__istartswith=head).values_list("tag", flat=True).distinct()
        )
        if match and match[1].upper() == head.upper()
    }
    used |= {
        int(match[2])
        for match in map(NUMBERED.fullmatch, Colony.objects.filter(tag__istartswith=head).values_list("tag", flat=True))
        if match and match[1].upper() == head.upper()
    }
    number = max(used, default=0) + 1
    return f"{head}{number:0{len(digits)}d}"[:LONGEST_TAG]


def _initials(name: str) -> str:
    return "".join(word[0] for word in re.findall(r"\w+", name) if not word[0].isdigit())[:4].upper() or "C"
