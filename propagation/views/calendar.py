"""The calendar: its secret address, and what a calendar program reads there."""

import hashlib
import secrets

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import get_conditional_response, patch_cache_control
from django.utils.timezone import localdate
from django.views.decorators.http import require_safe

from propagation.actions.calendar_address import renew_calendar_address, switch_off_calendar
from propagation.addresses import base_address_of
from propagation.calendar import events_from
from propagation.models import CalendarAddress
from propagation.readings.calendar_feed import calendar_feed as written_feed

MOST_SHOWN = 12


def calendar(request):
    if request.method == "POST":
        if "off" in request.POST:
            switch_off_calendar()
            messages.success(request, "The calendar is switched off. The address answers nobody any more.")
        else:
            had_one = CalendarAddress.objects.exists()
            renew_calendar_address()
            words = "The old address is shut. Subscribe to the new one." if had_one else "The calendar has an address."
            messages.success(request, words)
        return redirect("calendar")
    address = CalendarAddress.objects.first()
    whole = f"{base_address_of(request)}{reverse('calendar_feed', args=[address.secret])}" if address else ""
    events = events_from(localdate())
    answer = render(
        request,
        "propagation/calendar.html",
        {
            "address": whole,
            "subscribe": f"webcal://{whole.partition('://')[2]}",
            "made_at": address and address.made_at,
            "events": events[:MOST_SHOWN],
            "more": max(len(events) - MOST_SHOWN, 0),
            "today": localdate(),
        },
    )
    patch_cache_control(answer, private=True, no_store=True)
    return answer


@login_not_required
@require_safe
def calendar_feed(request, secret):
    """Whoever knows the secret reads the calendar; any other address is not found."""
    address = CalendarAddress.objects.first()
    if address is None or not secrets.compare_digest(secret.encode(), address.secret.encode()):
        raise Http404
    base = base_address_of(request)
    body = written_feed(localdate(), absolute=lambda path: f"{base}{path}")
    etag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    answer = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    answer["ETag"] = etag
    answer["Content-Disposition"] = 'inline; filename="ramet.ics"'
    answer["X-Robots-Tag"] = "noindex, nofollow"
    patch_cache_control(answer, private=True, no_cache=True)
    return get_conditional_response(request, etag=etag, response=answer)
