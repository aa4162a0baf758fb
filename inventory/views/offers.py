"""Keeping the page of offers: who sees it, what stands at its top, how single plugs are offered, and packs."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST

from inventory.actions.offer_frags import end_pack, make_pack, offer_plug, renew_availability_secret, set_availability
from inventory.forms.offers import AvailabilityForm, PackForm, PlugOfferForm
from inventory.models import Availability, Book, OfferPack, PlugOffer
from inventory.readings.chosen import plugs_chosen
from inventory.readings.offers import LineOffers, differently_offered, offers_on, packs_with_standing
from inventory.readings.price_history import price_histories
from inventory.views.holds import page_of_plug
from propagation.addresses import base_address_of
from propagation.models import Lineage
from propagation.views.answers import carried_out, form_page, sent, tried
from propagation.views.found import plug_or_404


def offers(request):
    """Who sees the page of offers, where it is, and what differs from the usual on it."""
    stored, today = Availability.current(), localdate()
    names = ("visibility", "headline", "wishes", "reach")
    form = AvailabilityForm(sent(request), initial={name: getattr(stored, name) for name in names})

    def keep(told):
        kept = set_availability(**told)
        messages.success(request, f"Saved. Who sees the page: {kept.get_visibility_display().lower()}.")
        return redirect("offers")

    if answer := carried_out(request, form, keep):
        return answer
    address = {
        Availability.Visibility.PUBLIC: reverse("available"),
        Availability.Visibility.SECRET: reverse("available_secret", args=[stored.secret]),
    }.get(stored.visibility, "")
    found = offers_on(today)
    context = {
        "address": address,
        "whole_address": f"{base_address_of(request)}{address}" if address else "",
        "is_secret": stored.visibility == Availability.Visibility.SECRET,
        "frags": sum(line.number for line in found.lines),
        "lines": len(found.lines),
        "asked": _asked_and_fetched(found.lines, today),
        "packs": packs_with_standing(today),
        "differently": differently_offered(today),
        "book": Book.current(),
    }
    return form_page(request, "inventory/offers.html", form, context)


def _asked_and_fetched(lines: tuple[LineOffers, ...], today):
    """Each line offered one by one, the lowest and the highest price asked for it, and what such frags fetched."""
    lineages = {lineage.name: lineage for lineage in Lineage.objects.filter(name__in=[line.name for line in lines])}
    fetched = price_histories(lineages.values(), today)
    rows = []
    for line in lines:
        prices = [offer.price for offer in line.offers if offer.price is not None]
        asked = (min(prices), max(prices)) if prices else None
        rows.append((lineages[line.name], asked, fetched[lineages[line.name].pk].line))
    return rows


@require_POST
def offers_renew(request):
    """Another secret address; the one before leads nowhere."""
    renew_availability_secret()
    messages.success(request, "There is a new secret link. The one before leads nowhere now.")
    return redirect("offers")


def plug_offer(request, code):
    """How one plug is offered."""
    plug = plug_or_404(code)
    stored = PlugOffer.objects.filter(plug=plug).first()
    form = PlugOfferForm(sent(request), initial=PlugOfferForm.initial_of(stored))

    def offer(told):
        offer_plug(plug=plug, by=request.user, **form.as_told())
        messages.success(request, f"How {plug} is offered is saved.")
        return redirect("offers")

    if answer := carried_out(request, form, offer):
        return answer
    context = {
        "heading": f"Offer {plug.code_in_clear}",
        "lead": f"A frag of {plug.lineage}. It is offered while it is healed, free and not set aside.",
        "back_url": page_of_plug(plug),
        "back_label": plug.code_in_clear,
    }
    return form_page(request, "propagation/form.html", form, context)


def pack_new(request):
    """Several plugs together for one price."""
    book = Book.current()
    first = {"plugs": "\n".join(request.GET.getlist("plugs"))[:2000]}
    form = PackForm(sent(request), book=book, initial=first)

    def make(told):
        plugs = plugs_chosen(form.codes())
        pack = make_pack(name=told["name"], amount=told["amount"], plugs=plugs, words=told["words"], by=request.user)
        messages.success(request, f"The pack “{pack}” is offered.")
        return redirect("offers")

    # A code that is none, or a plug that is gone, names no field.
    if answer := carried_out(request, form, make, otherwise="plugs"):
        return answer
    context = {
        "heading": "New pack",
        "lead": "Several plugs offered together for one price. While it is whole, they are not offered singly.",
        "back_url": reverse("offers"),
        "back_label": "Availability",
    }
    return form_page(request, "propagation/form.html", form, context)


@require_POST
def pack_end(request, pk):
    """Offer a pack no more."""
    pack = get_object_or_404(OfferPack, pk=pk)
    tried(
        request,
        lambda: end_pack(pack=pack, today=localdate(), by=request.user),
        f"The pack “{pack}” is ended. Its plugs are offered by themselves again.",
    )
    return redirect("offers")
