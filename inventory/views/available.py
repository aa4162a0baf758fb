"""The page of offers that strangers see: to everybody, or to whoever has the secret link."""

from html import escape
from secrets import compare_digest

from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.cache import get_conditional_response, set_response_etag
from django.utils.safestring import mark_safe
from django.utils.timezone import localdate
from django.views.decorators.http import require_safe

from inventory.models import Availability, Book
from inventory.offer_papers import OfferWords, as_data, as_text, heading_of, wishes_of
from inventory.readings.offers import offers_on
from propagation.models import Preferences
from propagation.throttle import count_wrong_guess, seconds_to_wait


@login_not_required
@require_safe
def available(request):
    """What is offered, if that is shown to everybody."""
    shown = Availability.current()
    if shown.visibility != Availability.Visibility.PUBLIC:
        return _nothing_here(request)
    return _offers(request, shown)


@login_not_required
@require_safe
def available_secret(request, secret):
    """What is offered, to whoever has the secret link. Whoever tries links is made to wait, whether they are right."""
    if answer := told_to_wait(request):
        return answer
    shown = Availability.current()
    is_right = compare_digest(secret.encode(), shown.secret.encode())
    if not is_right or shown.visibility != Availability.Visibility.SECRET:
        count_wrong_guess(request)
        return _nothing_here(request)
    return secluded(_offers(request, shown))


def told_to_wait(request):
    """The page for whoever tried too many secrets; None for anybody else."""
    wait = seconds_to_wait(request)
    if not wait:
        return None
    answer = render(request, "inventory/available_wait.html", {"minutes": -(-wait // 60)}, status=429)
    answer["Retry-After"] = str(wait)
    return secluded(answer)


def secluded(answer):
    """A page behind a secret: found by no search engine, its address told to nobody, kept by nobody."""
    answer["X-Robots-Tag"] = "noindex, nofollow"
    answer["Referrer-Policy"] = "no-referrer"
    if "Cache-Control" not in answer:
        answer["Cache-Control"] = "no-store"
    return answer


def _nothing_here(request):
    """The same for a page that is off, for one that is secret, and for a wrong link."""
    return secluded(render(request, "inventory/available_off.html", status=404))


def _offers(request, shown):
    preferences = Preferences.current()
    offers = offers_on(localdate(), with_pictures=True)
    words = OfferWords(
        book=Book.current(), length_unit=preferences.length_unit, base_address=request.build_absolute_uri("/")
    )
    if request.GET.get("as") == "text":
        answer = HttpResponse(as_text(offers, shown, words), content_type="text/plain; charset=utf-8")
    else:
        answer = render(
            request,
            "inventory/available.html",
            {
                "shown": shown,
                "heading": heading_of(shown),
                "wishes": wishes_of(shown),
                "offers": offers,
                "lines": [(line, _rows(line, words)) for line in offers.lines],
                "packs": [(pack, words.price(pack.price), words.contents(pack)) for pack in offers.packs],
                "data": mark_safe(as_data(offers, shown, words)),  # noqa: S308 - escaped for a script element there
            },
        )
    # Kept by nobody without asking: what was held meanwhile is gone at the next look.
    answer["Cache-Control"] = "private, no-cache"
    set_response_etag(answer)
    return get_conditional_response(request, etag=answer["ETag"], response=answer)


def _rows(line, words):
    """The rows of a line, made in one go: a page may have thousands, and each of their words is escaped here."""
    rows = []
    for offer in line.offers:
        number, size = escape(words.number(offer)), escape(words.size(offer))
        told = f'<span class="one-line">{number}</span>' + (f', <span class="one-line">{size}</span>' if size else "")
        told += f"<br>{escape(offer.words)}" if offer.words else ""
        if offer.photo:
            large, small = (reverse(name, args=[offer.photo]) for name in ("photo_screen", "photo_thumbnail"))
            alt = escape(f"Picture of {line.name}, {offer.code_in_clear}")
            told = f'<a class="offer-picture" href="{large}"><img src="{small}" alt="{alt}" loading="lazy"></a>{told}'
        rows.append(f'<li><div>{told}</div><strong class="sale-amount">{escape(words.each(offer))}</strong></li>')
    return mark_safe("".join(rows))  # noqa: S308 - escaped above
