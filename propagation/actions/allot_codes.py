from django.db import IntegrityError, transaction

from propagation import codes
from propagation.models import AllottedCode


@transaction.atomic
def allot_codes(*, count: int) -> list[str]:
    """Give out `count` codes that were never used before. One query unless a draw repeats an old code."""
    while True:
        drawn = set()
        while len(drawn) < count:
            drawn.add(codes.new_code())
        try:
            with transaction.atomic():
                AllottedCode.objects.bulk_create([AllottedCode(text=text) for text in drawn])
        except IntegrityError:  # one of them was given out before: about one draw in 10¹⁰ per code given
            continue
        return list(drawn)
