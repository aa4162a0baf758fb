"""What the inventory floor has due. Each contributor costs one query or two, whatever is kept."""

from django.db.models import Exists, OuterRef
from django.urls import reverse
from django.utils.formats import date_format

from inventory.models import Claim, Hold
from inventory.readings.availability import available_on, with_price
from inventory.readings.holds import SOON
from inventory.readings.safekeeping import due_by
from inventory.readings.waiting import places_in_line
from propagation.agenda import Due, contributes_to_agenda
from propagation.models import Lineage

MOST_LOOKED_AT = 200  # holds that one sentence is made of
MOST_NAMED = 3


def _some(names) -> str:
    """``A``, ``A and B``, ``A, B, C and 4 more``."""
    names = list(dict.fromkeys(names))
    shown, more = names[:MOST_NAMED], len(names) - MOST_NAMED
    if more > 0:
        return f"{', '.join(shown)} and {more} more"
    return " and ".join([", ".join(shown[:-1]), shown[-1]] if len(shown) > 1 else shown)


@contributes_to_agenda(order=12)
def promised_plugs_that_cannot_be_handed_over(day):
    """Held plugs that died, left or fell back: somebody waits for them and must be told."""
    broken = Hold.objects.active_on(day).broken().order_by("until", "id")
    names = list(broken.values_list("contact__name", flat=True)[:MOST_LOOKED_AT])
    if names:
        what = "the plug" if len(names) == 1 else "the plugs"
        yield Due(
            f"Tell {_some(names)}: {what} promised cannot be handed over",
            reverse("holds"),
            count=len(names),
            icon="warning",
        )


@contributes_to_agenda(order=32)
def holds_that_end(day):
    """Holds that end today, and those that end in the next days."""
    ending = list(
        Hold.objects.active_on(day)
        .on_plugs_fit_to_leave()
        .filter(until__lte=day + SOON)
        .order_by("until", "id")
        .values_list("until", "contact__name")[:MOST_LOOKED_AT]
    )
    address = f"{reverse('holds')}?which=soon"
    today = [name for until, name in ending if until == day]
    later = [(until, name) for until, name in ending if until > day]
    if today:
        words = "A hold ends today" if len(today) == 1 else f"{len(today)} holds end today"
        yield Due(f"{words}: ask {_some(today)}", address, count=len(today), icon="hold")
    if later:
        words = "A hold ends" if len(later) == 1 else f"{len(later)} holds end"
        yield Due(
            f"{words} by {date_format(later[-1][0], 'j M')}: {_some(name for _, name in later)}",
            address,
            count=len(later),
            icon="hold",
        )


@contributes_to_agenda(order=13)
def those_next_in_line(day):
    """Plugs that are free again and that somebody waits for, and those that nobody can have any more."""
    places = places_in_line(day)
    address = f"{reverse('holds')}#line"
    if free := [place.waiting.contact.name for place in places if place.gets_it]:
        what = "A plug is free again" if len(free) == 1 else f"{len(free)} plugs are free again"
        yield Due(f"{what}: next in line {_is(free)} {_some(free)}", address, count=len(free), icon="hold")
    if gone := [place.waiting.contact.name for place in places if place.is_gone]:
        what = "the plug waited for is" if len(gone) == 1 else "the plugs waited for are"
        yield Due(f"Tell {_some(gone)}: {what} gone", address, count=len(gone), icon="warning")


def _is(names) -> str:
    return "is" if len(set(names)) == 1 else "are"


@contributes_to_agenda(order=13)
def claims_to_settle(day):
    """Claims of which it was not said yet what is done."""
    waiting = list(
        Claim.objects.filter(settled_on=None, reported_on__lte=day)
        .order_by("reported_on", "id")
        .values_list("pk", "line__sale__contact__name", "reported_on")[:MOST_LOOKED_AT]
    )
    if waiting:
        one = len(waiting) == 1
        yield Due(
            f"Settle {'the claim' if one else 'the claims'} of {_some(name for _, name, _ in waiting)}",
            reverse("claim", args=[waiting[0][0]]) if one else reverse("claims"),
            count=len(waiting),
            since=waiting[0][2],
            icon="warning",
        )


@contributes_to_agenda(order=34)
def living_copies_to_ask_after(day):
    """Corals that contacts keep for the owner and that were not heard of for as long as agreed."""
    due = due_by(day)
    if len(due) > MOST_NAMED:
        names = _some(kept.contact.name for kept in due)
        yield Due(
            f"Ask {names} after {len(due)} corals they keep for you",
            reverse("safekeeping"),
            count=len(due),
            since=due[0].ask_on,
            icon="insurance",
        )
        return
    for kept in due:
        words = f"Ask {kept.contact} after {kept.plug.code_in_clear}"
        yield Due(words, reverse("safekeeping_one", args=[kept.pk]), since=kept.ask_on, icon="insurance")


@contributes_to_agenda(order=65)
def ready_without_a_price(day):
    """Lineages that have frags to sell and no price."""
    ready = available_on(day).filter(lineage=OuterRef("pk"))
    unpriced = with_price(ready).filter(lineage__price=None, price=None)
    names = list(Lineage.objects.filter(Exists(unpriced)).order_by("name").values_list("name", flat=True))
    if names:
        yield Due(
            f"Set a price for {_some(names)}: ready to leave without one",
            f"{reverse('prices')}?unpriced=on&ready=on",
            count=len(names),
            icon="money",
        )
