"""Scale cards: which to print, the PDF, and where the code of one for any colony leads."""

from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from labels.actions.draw_scale_card import scale_cards as draw
from labels.drawing.papers.pages import SIZES
from labels.forms.scale_cards import ALL_COLONIES, ONE_COLONY, ScaleCardForm
from propagation.addresses import base_address_of
from propagation.errors import RametError
from propagation.models import Colony
from propagation.readings.find import find_colony
from propagation.views.answers import form_page


@require_safe
def scale_cards(request):
    """Choose cards; with ``size`` in the address they come as a PDF."""
    if "size" not in request.GET:
        return _page(request, ScaleCardForm(initial=_asked_for(request)))
    form = ScaleCardForm(request.GET)
    if not form.is_valid():
        return _page(request, form)
    told = form.cleaned_data
    try:
        sheet = draw(
            symbol_mm=told["size"],
            base_address=base_address_of(request),
            colonies=_colonies(told),
            size=SIZES[told["paper"]],
        )
    except RametError as error:
        form.add_error("tag" if told["what"] == ONE_COLONY else None, str(error))
        return _page(request, form)
    answer = HttpResponse(sheet.pdf, content_type="application/pdf")
    answer["Content-Disposition"] = content_disposition_header(as_attachment=False, filename="scale-cards.pdf")
    return answer


def _asked_for(request):
    tag = request.GET.get("tag", "").strip()[:24]
    return {"what": ONE_COLONY, "tag": tag} if tag else {}


def _colonies(told):
    alive = Colony.objects.alive().select_related("lineage")
    if told["what"] == ALL_COLONIES:
        found = list(alive.order_by("tag"))
        if not found:
            raise RametError("There is no living colony to print a card for; a card for any colony serves them all.")
        return found
    return [find_colony(told["tag"], among=alive)] if told["what"] == ONE_COLONY else []


def _page(request, form):
    return form_page(request, "labels/scale_cards.html", form, {})


@require_safe
def scale_card_scanned(request, size, code=""):
    """A card of a colony leads to the colony; one for any colony to where cards are printed."""
    return redirect("scan", code) if code else redirect("scale_cards")
