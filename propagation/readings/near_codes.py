"""Codes that a slip of the pen may have turned into what was typed."""

from itertools import combinations, product

from propagation import codes
from propagation.codes import ALPHABET, LENGTH
from propagation.models import Plug


def _one_slip(bare: str):
    """Every text one wrong, missing or superfluous character or one swap of neighbours away."""
    for place in range(len(bare)):
        yield bare[:place] + bare[place + 1 :]
        yield bare[:place] + bare[place + 1 : place + 2] + bare[place] + bare[place + 2 :]
        for letter in ALPHABET:
            yield bare[:place] + letter + bare[place + 1 :]
    for place in range(len(bare) + 1):
        for letter in ALPHABET:
            yield bare[:place] + letter + bare[place:]


def _two_wrong(bare: str):
    """Every text with two characters changed."""
    for first, second in combinations(range(len(bare)), 2):
        for one, other in product(ALPHABET, repeat=2):
            yield bare[:first] + one + bare[first + 1 : second] + other + bare[second + 1 :]


def _is_code(text: str) -> bool:
    return len(text) == LENGTH and codes.PATTERN.fullmatch(text) and codes.mod_37_36.is_valid(text)


def near_codes(text: str, *, most: int = 3) -> list[str]:
    """Codes of plugs, as they are printed, that are one slip away from what was typed, or else two characters.

    At most two queries by code; nothing for what is far from a code. For signed-in keepers only: it tells which codes
    there are.
    """
    bare = codes.strip_code(text)
    if not LENGTH - 1 <= len(bare) <= LENGTH + 1:
        return []
    for slips in (_one_slip, _two_wrong):
        possible = {slip for slip in slips(bare) if _is_code(slip)} - {bare}
        found = Plug.objects.filter(code__in=possible).order_by("code").values_list("code", flat=True)[:most]
        found = [codes.in_clear(code) for code in found]
        if found or len(bare) != LENGTH:
            return found
    return []
