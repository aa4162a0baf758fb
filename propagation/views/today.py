"""What is due, and the numbers at a glance."""

from django.shortcuts import render
from django.utils import timezone

from propagation.agenda import due_on
from propagation.readings.at_a_glance import at_a_glance


def today(request):
    """The first page: numbers, what is due, and where nothing is kept yet, the way to begin."""
    day = timezone.localdate()
    glance = at_a_glance(day)
    return render(
        request,
        "propagation/today.html",
        {"day": day, "glance": glance, "dues": due_on(day)},
    )
