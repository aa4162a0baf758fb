"""What contacts keep for the owner: who has what, and after whom to ask."""

from datetime import date, timedelta

from inventory.models import Contact, Safekeeping


def _with_day(kept: Safekeeping) -> Safekeeping:
    kept.ask_on = (kept.asked_on or kept.since) + timedelta(days=kept.ask_every_days)
    return kept


def kept_now() -> list[Safekeeping]:
    """Those that go on, each with ``ask_on``, the day to ask after it; the most urgent first. One query."""
    rows = Safekeeping.objects.filter(ended_on=None).select_related("contact", "plug__lineage")
    return sorted(map(_with_day, rows), key=lambda kept: (kept.ask_on, kept.pk))


def due_by(day: date) -> list[Safekeeping]:
    """Those to ask after on a day or before it, the longest due first."""
    return [kept for kept in kept_now() if kept.ask_on <= day]


def kept_before(contact: Contact | None = None):
    """Those that ended, with everybody or with one contact, the latest first."""
    ended = (
        Safekeeping.objects.exclude(ended_on=None) if contact is None else contact.safekeepings.exclude(ended_on=None)
    )
    return ended.select_related("contact", "plug__lineage").order_by("-ended_on", "-pk")


def kept_by(contact: Contact) -> list[Safekeeping]:
    """What a contact keeps now, as `kept_now`."""
    rows = Safekeeping.objects.filter(contact=contact, ended_on=None).select_related("contact", "plug__lineage")
    return sorted(map(_with_day, rows), key=lambda kept: (kept.ask_on, kept.pk))


def safekeeping_of(plug) -> Safekeeping | None:
    """The safekeeping a plug is in now. One query."""
    return Safekeeping.objects.filter(plug=plug, ended_on=None).select_related("contact").first()
