"""Passports: issuing one, reading and taking in another keeper's, and the keys of keepers."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from inventory.actions.acquire_from import Deal
from inventory.forms.acquisitions import suggestions
from inventory.models import Book
from labels.actions.import_passport import import_passport
from labels.actions.issue_passport import issue_passport
from labels.actions.name_key import name_key
from labels.errors import PassportCameAlready
from labels.forms.passports import COLONY, KeyForm, PassportArrivalForm, PassportFileForm
from labels.keeper_key import keeper_did
from labels.models import KnownKey, Passport
from labels.passports.errors import KeyUnreadable, PassportRefused
from labels.passports.reading import MOST_BYTES, read_passport
from labels.passports.signing import fingerprint
from labels.readings.passports import as_read, judge, parts_of
from propagation.actions.changes import last_change
from propagation.errors import RametError
from propagation.models import Acquisition, Colony, Preferences
from propagation.paging import UncountedPaginator
from propagation.readings.find import find_plug_or_colony
from propagation.views.answers import carried_out, form_page, sent

TYPE = "application/ld+json"
ROWS = 25


def download(individual, *, now) -> HttpResponse:
    """The passport of a plug or colony as a file. Raises what `issue_passport` raises."""
    answer = HttpResponse(issue_passport(individual=individual, now=now), content_type=TYPE)
    answer["Content-Disposition"] = f'attachment; filename="passport-{individual.code_in_clear}.jsonld"'
    return answer


@never_cache
@require_safe
def passport_of(request, code):
    """The passport of a plug or colony, to hand over with it."""
    try:
        individual = find_plug_or_colony(code)
    except RametError as error:
        messages.error(request, str(error))
        return redirect("trace")
    try:
        return download(individual, now=timezone.now())
    except RametError as error:
        messages.error(request, str(error))
        is_colony = isinstance(individual, Colony)
        return redirect("colony", individual.tag) if is_colony else redirect("plug", individual.code)


@require_safe
def passports(request):
    """One's own key, the keys of others, a passport to read, and those that came."""
    return _passports_page(request, PassportFileForm())


def _passports_page(request, form):
    figures, trouble = (), ""
    try:
        figures = fingerprint(keeper_did())
    except KeyUnreadable as error:
        trouble = str(error)
    rows = Passport.objects.select_related("acquisition__lineage", "key")
    context = {
        "figures": figures,
        "trouble": trouble,
        "keys": KnownKey.objects.all(),
        "page": UncountedPaginator(rows, ROWS).get_page(request.GET.get("page")),
    }
    return form_page(request, "labels/passports.html", form, context)


def passport_read(request):
    """What a chosen file says, and what can become of it; nothing is recorded yet."""
    if request.method != "POST":
        return redirect("passports")
    form = PassportFileForm(request.POST, request.FILES)

    def read(told):
        return _offer_page(request, read_passport(told["passport"].read(MOST_BYTES + 1), now=timezone.now()))

    return carried_out(request, form, read, otherwise="passport") or _passports_page(request, form)


def _offer_page(request, passport, form=None):
    offer = judge(passport)
    form = form or _arrival_form(
        offer,
        initial={
            "day": timezone.localdate(),
            "document": passport.text,
            "lineage_name": offer.lineage.name if offer.lineage else passport.line.name,
            "what": COLONY if passport.line.itself.is_colony else "plug",
        },
    )
    context = {
        "offer": offer,
        "parts": offer.parts,
        "suggestions": suggestions(),
        "can_come": offer.imported is None and offer.never_left is None,
    }
    return form_page(request, "labels/passport_offer.html", form, context)


def _arrival_form(offer, data=None, **kwargs):
    return PassportArrivalForm(
        data,
        is_return=offer.returned_plug is not None,
        book=Book.current(),
        length_unit=Preferences.current().length_unit,
        **kwargs,
    )


@require_POST
def passport_import(request):
    """Take in what came with the passport that was read."""
    data = request.POST.get("document", "").encode("utf-8", "replace")
    try:
        passport = read_passport(data, now=timezone.now())
    except PassportRefused as error:
        messages.error(request, str(error))
        return redirect("passports")
    form = _arrival_form(judge(passport), request.POST)

    def take_in(told):
        try:
            acquisition = import_passport(
                data=data,
                deal=Deal(
                    on=told["day"],
                    kind=told.get("kind", Acquisition.Kind.RETURNED),
                    contact_name=told["contact_name"],
                    amount=told["amount"],
                    note=told["note"],
                ),
                today=timezone.localdate(),
                now=timezone.now(),
                lineage_name=told.get("lineage_name", ""),
                growth_form=told.get("growth_form", ""),
                as_colony=told["what"] == COLONY,
                tag=told["tag"],
                spot=told["spot"],
                stage=told["stage"],
                size_mm=told["size_mm"],
                rack=told["rack"],
                submission=told["submission"],
                by=request.user,
            )
        except PassportCameAlready as error:
            messages.error(request, str(error))
            return redirect("acquisition", pk=error.acquisition.pk)
        messages.success(request, "It is recorded with its passport, and has its code.")
        return redirect("acquisition", pk=acquisition.pk)

    return carried_out(request, form, take_in, lineage="lineage_name") or _offer_page(request, passport, form)


@require_safe
def passport(request, pk):
    """A passport that came: what each keeper tells in it."""
    found = get_object_or_404(Passport.objects.select_related("acquisition__lineage", "imported_by"), pk=pk)
    try:
        parts, trouble = parts_of(as_read(found)), ""
    except PassportRefused as error:
        parts, trouble = [], str(error)
    return render(request, "labels/passport.html", {"passport": found, "parts": parts, "trouble": trouble})


@require_safe
def passport_file(request, pk):
    """A passport that came, as it was signed."""
    found = get_object_or_404(Passport, pk=pk)
    answer = HttpResponse(found.text, content_type=TYPE)
    answer["Content-Disposition"] = f'attachment; filename="passport-{found.code_in_clear}.jsonld"'
    return answer


def key_name(request, pk):
    """Say whose key it is."""
    key = get_object_or_404(KnownKey, pk=pk)
    form = KeyForm(sent(request), initial={"name": key.name, "based_on": last_change(key)})

    def name(told):
        named = name_key(key=key, by=request.user, **told)
        messages.success(request, f"The key is known as {named.name}." if named.name else "The key has no name now.")
        return redirect("passports")

    if answer := carried_out(request, form, name):
        return answer
    return form_page(request, "labels/passport_key.html", form, {"key": key, "back_url": reverse("passports")})
