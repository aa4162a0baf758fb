"""Papers of sales, trades, plugs and colonies, and the page on which the other side reads its own."""

import logging

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import content_disposition_header, url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST, require_safe

from inventory.models import Sale, Trade
from inventory.views.available import secluded, told_to_wait
from labels.actions.print_papers import SIZES, Kind, kinds_of, print_papers, size_named, usual_size
from labels.actions.renew_paper_link import renew_paper_link
from labels.drawing.papers.pages import PaperSize
from labels.readings.papers import Issuer, receipt_of_sale, receipt_of_trade, things_of
from propagation import codes
from propagation.addresses import base_address_of
from propagation.errors import RametError
from propagation.models import Colony, Preferences
from propagation.readings.find import find_plug_or_colony
from propagation.throttle import count_wrong_guess
from propagation.views.answers import tried

logger = logging.getLogger(__name__)
REMEMBERED = "paper"


# Which paper is in the printer ----------------------------------------------------------------------------------------


def chosen_size(request) -> PaperSize:
    """The size asked for in the address, else the one chosen last on this device, else the usual one."""
    asked = request.GET.get("paper", "")
    if asked.lower() in SIZES:
        return SIZES[asked.lower()]
    if request.user.is_authenticated and request.session.get(REMEMBERED) in SIZES:
        return SIZES[request.session[REMEMBERED]]
    return usual_size(Preferences.current())


@require_POST
def paper_size(request):
    """Remember the size of paper."""

    def remember():
        size = size_named(request.POST.get("paper", ""))
        request.session[REMEMBERED] = size.name
        return size

    tried(request, remember, lambda size: f"Papers are printed on {size.words}.")
    back = request.POST.get("back", "")
    is_here = url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()})
    return redirect(f"{back}#papers" if is_here else "sales")


# The keeper's ---------------------------------------------------------------------------------------------------------


def as_file(printed) -> HttpResponse:
    """A PDF to be looked at, under a name that any system takes (RFC 6266)."""
    answer = HttpResponse(printed.pdf, content_type="application/pdf")
    answer["Content-Disposition"] = content_disposition_header(as_attachment=False, filename=printed.file_name)
    return answer


def _pdf(request, of, kind, **more) -> HttpResponse:
    """A paper on the size that was chosen. Raises RametError."""
    printed = print_papers(
        of=of,
        kind=kind,
        size=chosen_size(request),
        base_address=base_address_of(request),
        today=timezone.localdate(),
        **more,
    )
    return as_file(printed)


def _paper(request, of, kind, back):
    try:
        return _pdf(request, of, kind)
    except RametError as error:
        messages.error(request, str(error))
        return redirect(back)


@require_safe
def sale_paper(request, pk, kind):
    """A paper of a sale as a PDF."""
    found = get_object_or_404(Sale.objects.select_related("contact"), pk=pk)
    return _paper(request, found, kind, reverse("sale", args=[found.pk]))


@require_safe
def trade_paper(request, pk, kind):
    """A paper of a trade as a PDF."""
    found = get_object_or_404(Trade.objects.select_related("contact"), pk=pk)
    return _paper(request, found, kind, reverse("trade", args=[found.pk]))


@require_safe
def paper_of(request, code, kind):
    """A paper of a plug or a colony as a PDF."""
    try:
        found = find_plug_or_colony(code)
    except RametError as error:
        messages.error(request, str(error))
        return redirect("trace")
    back = reverse("colony", args=[found.tag]) if isinstance(found, Colony) else reverse("plug", args=[found.code])
    return _paper(request, found, kind, back)


def address_for_others(request, of: Sale | Trade) -> str:
    """The whole address under which the other side reads its papers."""
    return f"{base_address_of(request)}{reverse('own_papers', args=[of.secret])}"


def _renew(request, of, name):
    renew_paper_link(of=of, by=request.user)
    messages.success(request, "There is a new link to the papers. The one before leads nowhere now.")
    return redirect(f"{reverse(name, args=[of.pk])}#papers")


@require_POST
def sale_paper_link(request, pk):
    """Another secret link to the papers of a sale."""
    return _renew(request, get_object_or_404(Sale, pk=pk), "sale")


@require_POST
def trade_paper_link(request, pk):
    """Another secret link to the papers of a trade."""
    return _renew(request, get_object_or_404(Trade, pk=pk), "trade")


# The other side's own -------------------------------------------------------------------------------------------------


def _of_secret(secret: str) -> Sale | Trade | None:
    for model in (Sale, Trade):
        found = model.objects.select_related("contact").filter(secret=secret).first()
        if found is not None:
            return found
    return None


def _for_others(view):
    """A page behind a secret: whoever tries secrets is made to wait, and nothing tells a wrong one from no page."""

    @login_not_required
    @require_safe
    def guarded(request, secret, **kwargs):
        if answer := told_to_wait(request):
            return answer
        found = _of_secret(secret.replace("\0", ""))
        if found is None:
            count_wrong_guess(request)
            return secluded(nothing_here(request))
        return secluded(view(request, found, **kwargs))

    guarded.__name__, guarded.__doc__ = view.__name__, view.__doc__
    return guarded


def nothing_here(request) -> HttpResponse:
    """The same for a wrong link, an old one, and a paper that there is not."""
    return render(request, "labels/papers_unknown.html", status=404)


def _issuer(request):
    return Issuer(Preferences.current(), base_address_of(request), timezone.localdate())


@_for_others
def own_papers(request, of):
    """What was sold or traded to somebody, for them: their receipt as a page, and their papers."""
    issuer = _issuer(request)
    is_sale = isinstance(of, Sale)
    receipt = receipt_of_sale(of, issuer) if is_sale else receipt_of_trade(of, issuer)
    kinds = kinds_of(of, for_others=True)
    size = chosen_size(request)
    return render(
        request,
        "labels/papers_own.html",
        {
            "of": of,
            "is_sale": is_sale,
            "receipt": receipt,
            "keeper": issuer.name,
            "link": f"{issuer.base_address}{request.path}",
            "sizes": [(each, each == size) for each in SIZES.values()],
            "size": size,
            "papers": [(kind.plural, reverse("own_paper", args=[of.secret, kind.value])) for kind in kinds],
            "with_certificates": Kind.CERTIFICATE in kinds,
        },
    )


@_for_others
def own_paper(request, of, kind):
    """One of their papers as a PDF."""
    return _own_pdf(request, of, kind)


@_for_others
def own_paper_of(request, of, code, kind):
    """The certificate or care note of one of the things that went to them."""
    bare = codes.strip_code(code)
    among = [each for each in things_of(of) if each.code == bare]
    if not among or kind not in (Kind.CERTIFICATE, Kind.CARE):
        return nothing_here(request)
    return _own_pdf(request, of, kind, among=among)


def _own_pdf(request, of, kind, among=None):
    try:
        return _pdf(request, of, kind, among=among, for_others=True)
    except RametError:
        logger.info("A paper that there is not was asked for.")
        return nothing_here(request)
