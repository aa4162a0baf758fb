"""The demo's photos: drawn at the sizes that the records have, then read, measured and taken over as a keeper's are.

Two processes draw while this one measures; each photo is marked as drawn.
"""

import io
import multiprocessing
import random
from collections import deque
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from datetime import date, datetime, time
from itertools import groupby

from django.utils.timezone import make_aware

from labels.actions.print_labels import print_labels
from labels.contents import address_of
from labels.readings.stocks import FIRST_STOCK, find_stock
from propagation.actions.accept_measurement import accept_measurement
from propagation.actions.keep_photo import keep_photo
from propagation.actions.look_into_photo import look_into
from propagation.imaging.drawn_growth import DrawnIndividual, draw_growth
from propagation.label_sizes import label_sizes
from propagation.models import Measure, Photo, PhotoRound

DIFFERS_BY = 0.006  # a size seen in a photo from the one in the records: one standard deviation, invented
MM2_IN_A_CM2 = 100
SIZE_PX = (960, 720)
TOLERANCE_PX = 0.5  # a keeper's outline has no more points than it needs
AHEAD = 6  # photos that are drawn before they are wanted
DRAWERS = 2


def photograph(mothers: Iterable, *, base_address: str, today: date, by=None) -> int:
    """Draw and measure photos of colonies of the scenario. ``photos`` tells which measured days, and who is drawn.

    The latest photo of each that lives is left to be reviewed. Returns how many were taken into the records.
    """
    mothers = list(mothers)
    if not mothers:
        return 0
    colonies = [mother.colony for mother in mothers]
    print_labels(stock=find_stock(FIRST_STOCK), colonies=colonies, base_address=base_address, by=by)
    sizes = label_sizes(colony.code for colony in colonies)
    wanted = [
        (
            mother,
            on,
            _drawing(mother, on, measure, float(value), base_address, float(sizes[mother.colony.code].side_mm)),
        )
        for mother in mothers
        for on, measure, value in mother.measured[:: mother.told["photos"]["every"]]
    ]
    taken = 0
    rounds = _monthly_rounds({on for _, on, _ in wanted}, by=by)
    for mother, on, drawn in _drawn_ahead(wanted):
        round = rounds[on.year, on.month]
        photo = keep_photo(
            file=io.BytesIO(drawn.jpeg), name=f"{mother.colony.tag} {on}.jpg", today=today, round=round, by=by
        )
        look_into(photo_id=photo.pk, today=today, outline=drawn.outline_by_hand(TOLERANCE_PX))
        Photo.objects.filter(pk=photo.pk).update(is_drawn=True, arrived_at=round.begun_at)
        measurement = photo.measurements.exclude(outline=None).first()
        is_latest = mother.ended_on is None and on == max(day for each, day, _ in wanted if each is mother)
        if measurement is not None and not is_latest:
            accept_measurement(measurement=measurement, today=today, confirmed=True, by=by)
            taken += 1
    return taken


def _monthly_rounds(days: Iterable[date], *, by=None) -> dict[tuple[int, int], PhotoRound]:
    """A round for each month, begun on the evening of the last of the days in it, the earliest first."""
    rounds = {}
    for (year, month), days_in_it in groupby(sorted(days), key=lambda day: (day.year, day.month)):
        made = PhotoRound.objects.create(begun_by=by)
        made.begun_at = make_aware(datetime.combine(max(days_in_it), time(21)))
        made.save(update_fields=["begun_at"])
        rounds[year, month] = made
    return rounds


def _drawing(mother, on: date, measure: str, value: float, base_address: str, label_mm: float) -> tuple:
    """The individual and how it is to be drawn."""
    told = mother.told["photos"]
    chance = random.Random(f"1884 photo {mother.told['tag']} {(on - mother.began_on).days}")  # noqa: S311 - no secret
    value *= 1 + chance.gauss(0, DIFFERS_BY)
    size = {"area_mm2": value * MM2_IN_A_CM2} if measure == Measure.AREA else {"longest_mm": value}
    form = mother.colony.lineage.growth_form
    return DrawnIndividual(form, told["drawn"]), {
        **size,
        "text": address_of(base_address, mother.colony.code),
        "lines": (mother.colony.tag, mother.colony.code_in_clear, mother.colony.lineage.name),
        "label_mm": label_mm,
        "size_px": SIZE_PX,
        "taken_at": datetime.combine(on, time(19, chance.randrange(60))),
        "seed": (on - mother.began_on).days,
    }


def _drawn_ahead(wanted):
    """``(mother, day, drawn photo)`` one after the other, some drawn ahead by other processes."""
    # A fresh process knows nothing of the database's connection.
    with ProcessPoolExecutor(DRAWERS, mp_context=multiprocessing.get_context("spawn")) as drawers:
        waiting = deque()
        for mother, on, (individual, told) in wanted:
            waiting.append((mother, on, drawers.submit(draw_growth, individual, **told)))
            if len(waiting) > AHEAD:
                mother, on, drawn = waiting.popleft()
                yield mother, on, drawn.result()
        for mother, on, drawn in waiting:
            yield mother, on, drawn.result()
