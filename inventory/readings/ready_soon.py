"""What is not ready yet but likely is before long."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from propagation.models import Plug
from propagation.readings.healing_outlook import ReadyWindow, ready_windows
from propagation.readings.healing_records import cut_plugs

WITHIN_DAYS = 30


@dataclass(frozen=True)
class FragReadySoon:
    """A plug that still heals, and when it is likely ready."""

    plug: Plug
    window: ReadyWindow


def frags_ready_soon(day: date, *, within: int = WITHIN_DAYS, lineage=None) -> list[FragReadySoon]:
    """Plugs likely healed within so many days, the first first; those set aside as insurance left out. Two queries.

    One whose likely day has passed is among them, for it may be healed by now. The plugs have no more than their days:
    see `with_details`.
    """
    healing = cut_plugs().healing().filter(is_insurance=False)
    if lineage is not None:
        healing = healing.filter(lineage=lineage)
    plugs = list(
        healing.order_by("pk").only("lineage", "cut_event", "began_on", "checked_on", "stage", "fate").iterator()
    )
    windows = ready_windows(plugs, day)
    last = day + timedelta(days=within)
    soon = [FragReadySoon(plug, windows[plug.pk]) for plug in plugs if windows[plug.pk].likely <= last]
    return sorted(soon, key=lambda frag: (frag.window.likely, frag.plug.pk))


def with_details(frags: Iterable[FragReadySoon]) -> list[FragReadySoon]:
    """The same with everything a row shows of their plugs. One query."""
    frags = list(frags)
    plugs = Plug.objects.select_related("lineage", "rack__system").in_bulk([frag.plug.pk for frag in frags])
    return [replace(frag, plug=plugs[frag.plug.pk]) for frag in frags if frag.plug.pk in plugs]


@dataclass(frozen=True)
class BatchReadySoon:
    """Plugs of one line that are likely ready on the same day with the same chance: they were cut and seen together."""

    frags: list[FragReadySoon]

    @property
    def lineage(self):
        return self.frags[0].plug.lineage

    @property
    def window(self) -> ReadyWindow:
        return self.frags[0].window

    @property
    def checked_on(self) -> date:
        return min(frag.plug.checked_on for frag in self.frags)

    @property
    def racks(self) -> list[str]:
        return sorted({frag.plug.rack.name for frag in self.frags if frag.plug.rack is not None})


def in_batches(frags: Iterable[FragReadySoon]) -> list[list[FragReadySoon]]:
    """Those alike together, in the order of the first of each."""
    batches = {}
    for frag in frags:
        batches.setdefault((frag.plug.lineage_id, frag.window), []).append(frag)
    return list(batches.values())


def batches_with_details(batches: Iterable[list[FragReadySoon]]) -> list[BatchReadySoon]:
    """The same as rows of a page show them. One query."""
    batches = list(batches)
    detailed = {frag.plug.pk: frag for frag in with_details(frag for batch in batches for frag in batch)}
    found = ([detailed[frag.plug.pk] for frag in batch if frag.plug.pk in detailed] for batch in batches)
    return [BatchReadySoon(batch) for batch in found if batch]


def expected(frags: Iterable[FragReadySoon]) -> float:
    """How many of them reach healed, in the mean."""
    return sum(frag.window.probability for frag in frags)
