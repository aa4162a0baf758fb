"""What comes in: a colony, plugs, a pack; and each acquisition with its terms."""

from urllib.parse import urlencode

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.acquire_from import (
    Deal,
    PricedLine,
    acquire_colony_from,
    acquire_pack_from,
    acquire_plugs_from,
    book_of_terms,
    correct_acquisition,
)
from inventory.forms.acquisitions import (
    AcquisitionForm,
    ColonyArrivalForm,
    PackForm,
    PackLines,
    PlugsArrivalForm,
    refuse_lines,
    suggestions,
    typed,
)
from inventory.models import Book
from inventory.money import write_amount
from propagation.actions.acquire import PackLine
from propagation.actions.changes import last_change
from propagation.errors import RowErrors
from propagation.models import Acquisition, Colony, Plug, Preferences
from propagation.paging import UncountedPaginator
from propagation.readings.changes import changes_of
from propagation.views.answers import carried_out, form_page, sent

ROWS = 25


def acquire(request):
    rows = Acquisition.objects.select_related("lineage", "pack", "terms__contact").order_by("-acquired_on", "-pk")
    page = UncountedPaginator(rows, ROWS).get_page(request.GET.get("page"))
    return render(request, "inventory/acquire.html", {"page": page})


def acquisition(request, pk):
    found = get_object_or_404(
        Acquisition.objects.select_related("lineage", "pack", "terms__contact", "returned_plug"), pk=pk
    )
    plugs = list(found.plugs.order_by("pk"))
    colonies = list(found.colonies.order_by("tag"))
    terms = getattr(found, "terms", None)
    together = found.pack.acquisitions.select_related("lineage").order_by("pk") if found.pack else [found]
    return render(
        request,
        "inventory/acquisition.html",
        {
            "acquisition": found,
            "terms": terms,
            "paid": write_amount(terms.amount, terms.currency) if terms and terms.amount is not None else "",
            "plugs": plugs,
            "colonies": colonies,
            "pack": found.pack,
            "together": together,
            "labels_query": _labels_query(together),
            "changes": changes_of(found, "note") + (changes_of(terms, "amount") if terms else []),
        },
    )


def _labels_query(acquisitions) -> str:
    """The plugs and colonies that came together and have no label yet, as the labels page takes them."""
    ids = [each.pk for each in acquisitions]
    plugs = Plug.objects.unlabelled().filter(acquisition__in=ids).order_by("pk").values_list("pk", flat=True)
    colonies = Colony.objects.alive().filter(acquisition__in=ids, labelled_at=None).order_by("tag")
    chosen = {"plugs": list(plugs), "colonies": [colony.code for colony in colonies]}
    return urlencode({name: values for name, values in chosen.items() if values}, doseq=True)


def acquire_colony(request):
    form = _arrival_form(ColonyArrivalForm, request)

    def bring_in(told):
        return acquire_colony_from(
            deal=_deal(told),
            lineage_name=told["lineage_name"],
            growth_form=told["growth_form"],
            tag=told["tag"],
            spot=told["spot"],
            returned_plug=told["returned_plug"],
            submission=told["submission"],
            today=localdate(),
            by=request.user,
        )

    return _arrival_page(request, form, bring_in, "inventory/acquire_colony.html")


def acquire_plugs(request):
    form = _arrival_form(PlugsArrivalForm, request)

    def bring_in(told):
        return acquire_plugs_from(
            deal=_deal(told),
            lineage_name=told["lineage_name"],
            growth_form=told["growth_form"],
            count=told["count"],
            size_mm=told["size_mm"],
            stage=told["stage"],
            rack=told["rack"],
            returned_plug=told["returned_plug"],
            submission=told["submission"],
            today=localdate(),
            by=request.user,
        )

    return _arrival_page(request, form, bring_in, "inventory/acquire_plugs.html")


def acquire_pack(request):
    form = _arrival_form(PackForm, request)
    book = Book.current()
    lines = PackLines(sent(request), prefix="lines", form_kwargs={"book": book})
    if "more" in request.POST:  # shown again as it was typed, and not judged yet
        form = PackForm(initial=typed(form), book=book, length_unit=Preferences.current().length_unit)
        lines = PackLines(initial=[typed(each) for each in lines], prefix="lines", form_kwargs={"book": book})

    def bring_in(told):
        return acquire_pack_from(
            deal=_deal(told),
            name=told["name"],
            lines=[_priced_line(each.cleaned_data) for each in lines if each.has_changed()],
            rack=told["rack"],
            submission=told["submission"],
            today=localdate(),
            by=request.user,
        )

    return _arrival_page(request, form, bring_in, "inventory/acquire_pack.html", lines=lines)


def _priced_line(told) -> PricedLine:
    line = PackLine(
        lineage=told["lineage"],
        is_colony=told["is_colony"],
        count=told["count"],
        tag=told["tag"],
        growth_form=told["growth_form"],
    )
    return PricedLine(line, told["amount"])


def _arrival_form(form_class, request):
    return form_class(
        sent(request),
        book=Book.current(),
        length_unit=Preferences.current().length_unit,
        initial={"day": localdate(), "lineage_name": request.GET.get("lineage", "")},
    )


def _deal(told) -> Deal:
    return Deal(told["day"], told["kind"], told["contact_name"], told["amount"], told["note"])


def _arrival_page(request, form, act, template, *, lines=None):
    """Bring in what ``act(told)`` brings in and go to its page, or the form to fill in or to put right."""

    def bring_in(told):
        try:
            acquisition = act(told)
        except RowErrors as error:
            refuse_lines(form, lines, error)
            return None
        messages.success(request, "It is recorded, and every plug and colony has its code.")
        return redirect("acquisition", pk=acquisition.pk)

    are_in_order = lines is None or lines.is_valid()
    if are_in_order and (answer := carried_out(request, form, bring_in, lineage="lineage_name")):
        return answer
    context = {"lines": lines, "suggestions": suggestions(), "back_url": reverse("acquire")}
    return form_page(request, template, form, context, refused=bool(lines and any(lines.errors)))


def acquisition_edit(request, pk):
    found = get_object_or_404(Acquisition.objects.select_related("lineage", "terms__contact"), pk=pk)
    terms = getattr(found, "terms", None)
    form = AcquisitionForm(
        sent(request),
        book=book_of_terms(terms),
        initial={
            "contact_name": terms.contact.name if terms and terms.contact else "",
            "amount": terms.amount if terms else None,
            "note": found.note,
            "based_on": last_change(found),
        },
    )

    def correct(told):
        correct_acquisition(acquisition=found, by=request.user, **told)
        messages.success(request, "The acquisition is put right.")
        return redirect("acquisition", pk=pk)

    if answer := carried_out(request, form, correct):
        return answer
    context = {
        "heading": f"Put right: {found.lineage}",
        "suggestions": suggestions(),
        "back_url": reverse("acquisition", args=[pk]),
    }
    return form_page(request, "inventory/acquisition_form.html", form, context)
