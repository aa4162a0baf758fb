"""Who has been promised what until when."""

from datetime import date, timedelta

from inventory.models import Hold

SOON = timedelta(days=3)


def _with_names(holds):
    return holds.select_related("contact", "plug__lineage", "plug__rack")


def current_holds(day: date):
    """Holds that bind on a day and can be kept, the one that ends first coming first."""
    return _with_names(Hold.objects.active_on(day).on_plugs_fit_to_leave()).order_by("until", "contact__name", "id")


def holds_ending_soon(day: date):
    """Those of the current ones that end within three days."""
    return current_holds(day).filter(until__lte=day + SOON)


def broken_holds(day: date):
    """Holds that bind on a day but whose plug died, left, or fell back in healing: somebody must be told."""
    return _with_names(Hold.objects.active_on(day).broken()).order_by("contact__name", "until", "id")


def past_holds(day: date):
    """Holds that bind no more, latest first."""
    return _with_names(Hold.objects.ended_by(day)).order_by("-until", "-id")


def deposits_left_over(day: date):
    """Holds that bind no more and on which money still lies: it goes back, becomes credit, or counts in a sale."""
    return _with_names(Hold.objects.ended_by(day).with_a_deposit()).order_by("until", "id")


def active_hold_of(plug, day: date) -> Hold | None:
    """The hold that binds a plug on a day, if there is one."""
    return Hold.objects.active_on(day).filter(plug=plug).select_related("contact").first()
