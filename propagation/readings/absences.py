"""When nobody is there: the absences that are planned, those that were, and what falls into them."""

from datetime import date

from propagation.models import Absence


def absences_from(day: date) -> list[Absence]:
    """Standing absences that are not over on a day, the next first. One query."""
    return list(Absence.objects.standing().not_over(day))


def absences_past(day: date):
    """Absences that were over on a day, and those that were called off, the latest first: a queryset."""
    return Absence.objects.exclude(pk__in=Absence.objects.standing().not_over(day)).order_by("-first_day", "-id")
