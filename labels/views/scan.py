"""What a scan of a label opens: for the keeper the plug or colony, for a stranger its line of descent."""

import logging
from urllib.parse import urlencode

from django.contrib.auth.decorators import login_not_required
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from labels.readings.public_line import public_individual, public_line
from labels.views.passports import TYPE, download, passport_of
from propagation.errors import RametError
from propagation.models import Colony, Preferences
from propagation.readings.find import find_plug_or_colony
from propagation.throttle import count_wrong_guess, seconds_to_wait

logger = logging.getLogger(__name__)


@login_not_required
@never_cache
@require_safe
def scan(request, code):
    """One address for both: printed on the label, it says nothing but the code.

    A program that would rather have ``application/ld+json`` than a page gets the passport instead.
    """
    if request.user.is_authenticated:
        answer = passport_of(request, code) if wants_passport(request) else _for_keeper(code)
    else:
        answer = _for_stranger(request, code)
        answer["X-Robots-Tag"] = "noindex, nofollow"
    patch_vary_headers(answer, ["Accept"])
    return answer


def wants_passport(request) -> bool:
    """Does the visitor like a passport better than a page (RFC 9110 §12.5.1)? For one who likes both alike, a page."""
    return request.get_preferred_type(["text/html", TYPE]) == TYPE


def _for_keeper(code):
    try:
        found = find_plug_or_colony(code)
    except RametError:
        return redirect(f"{reverse('trace')}?{urlencode({'q': code})}")
    return redirect("colony", found.tag) if isinstance(found, Colony) else redirect("plug", found.code)


def _for_stranger(request, code):
    preferences = Preferences.current()
    if not preferences.public_pages:
        return render(request, "labels/public_off.html", status=404)
    wait = seconds_to_wait(request)
    if wait:
        answer = render(request, "labels/public_wait.html", {"minutes": -(-wait // 60)}, status=429)
        answer["Retry-After"] = str(wait)
        return answer
    if wants_passport(request):
        found = public_individual(code)
        if found is not None:
            try:
                return download(found, now=timezone.now())
            except RametError:
                logger.exception("A passport could not be issued.")  # the page says what can be said
    line = public_line(code)
    if line is None:
        count_wrong_guess(request)
        return render(request, "labels/public_unknown.html", status=404)
    return render(request, "labels/public.html", {"line": line, "display_name": preferences.display_name})
