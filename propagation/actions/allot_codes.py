from django.db import IntegrityError, transaction

from propagation import codes
from propagation.models import AllottedCode


def give_out_codes(*, count: int) -> list[str]:
    """Give out `count` fresh codes in one query, for an act that starts again as a whole when this fails.

    Raises IntegrityError if one of them was given out before: about one draw in 10¹⁰ per code given.
    """
    drawn = set()
    while len(drawn) < count:
        drawn.add(codes.new_code())
    AllottedCode.objects.bulk_create([AllottedCode(text=text) for text in drawn])
    return list(drawn)


@transaction.atomic
def allot_codes(*, count: int) -> list[str]:
    """Give out `count` codes that were never used before. One query unless a draw repeats an old code."""
    while True:
        try:
            with transaction.atomic():
                return give_out_codes(count=count)
        except IntegrityError:
            continue
