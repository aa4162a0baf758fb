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
    suggestions,
    typed,
)
from inventory.models import Book
from inventory.money import write_amount
from propagation.actions.acquire import PackLine
from propagation.actions.changes import last_change
from propagation.errors import RametError, RowErrors
from propagation.forms.fields import refuse
from propagation.models import Acquisition, Colony, Plug, Preferences
from propagation.paging import UncountedPaginator
from propagation.readings.changes import changes_of

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
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        return _bring_in(
            request,
            form,
            lambda: acquire_colony_from(
                deal=_deal(told),
                lineage_name=told["lineage_name"],
                growth_form=told["growth_form"],
                tag=told["tag"],
                spot=told["spot"],
                returned_plug=told["returned_plug"],
                submission=told["submission"],
                today=localdate(),
                by=request.user,
            ),
            "inventory/acquire_colony.html",
        )
    return _arrival_page(request, form, "inventory/acquire_colony.html")


def acquire_plugs(request):
    form = _arrival_form(PlugsArrivalForm, request)
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        return _bring_in(
            request,
            form,
            lambda: acquire_plugs_from(
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
            ),
            "inventory/acquire_plugs.html",
        )
    return _arrival_page(request, form, "inventory/acquire_plugs.html")


def acquire_pack(request):
    form = _arrival_form(PackForm, request)
    book = Book.current()
    lines = PackLines(request.POST or None, prefix="lines", form_kwargs={"book": book})
    if "more" in request.POST:
        form = PackForm(initial=typed(form), book=book, length_unit=Preferences.current().length_unit)
        lines = PackLines(initial=[typed(each) for each in lines], prefix="lines", form_kwargs={"book": book})
    elif request.method == "POST" and form.is_valid() and lines.is_valid():
        told = form.cleaned_data
        filled = [each for each in lines if each.has_changed()]
        return _bring_in(
            request,
            form,
            lambda: acquire_pack_from(
                deal=_deal(told),
                name=told["name"],
                lines=[_priced_line(each.cleaned_data) for each in filled],
                rack=told["rack"],
                submission=told["submission"],
                today=localdate(),
                by=request.user,
            ),
            "inventory/acquire_pack.html",
            lines=lines,
            filled=filled,
        )
    return _arrival_page(request, form, "inventory/acquire_pack.html", lines=lines)


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
        request.POST or None,
        book=Book.current(),
        length_unit=Preferences.current().length_unit,
        initial={"day": localdate(), "lineage_name": request.GET.get("lineage", "")},
    )


def _deal(told) -> Deal:
    return Deal(told["day"], told["kind"], told["contact_name"], told["amount"], told["note"])


def _bring_in(request, form, act, template, *, lines=None, filled=None):
    try:
        acquisition = act()
    except RowErrors as error:
        for row, column, sentence in error.errors:
            line = filled[row - 1] if 0 < row <= len(filled or []) else form
            line.add_error(column if column in line.fields else None, sentence)
        return _arrival_page(request, form, template, lines=lines)
    except RametError as error:
        refuse(form, error, lineage="lineage_name")
        return _arrival_page(request, form, template, lines=lines)
    messages.success(request, "It is recorded, and every plug and colony has its code.")
    return redirect("acquisition", pk=acquisition.pk)


def _arrival_page(request, form, template, **context):
    context |= {"form": form, "suggestions": suggestions(), "back_url": reverse("acquire")}
    return render(request, template, context)


def acquisition_edit(request, pk):
    found = get_object_or_404(Acquisition.objects.select_related("lineage", "terms__contact"), pk=pk)
    terms = getattr(found, "terms", None)
    form = AcquisitionForm(
        request.POST or None,
        book=book_of_terms(terms),
        initial={
            "contact_name": terms.contact.name if terms and terms.contact else "",
            "amount": terms.amount if terms else None,
            "note": found.note,
            "based_on": last_change(found),
        },
    )
    if request.method == "POST" and form.is_valid():
        try:
            correct_acquisition(acquisition=found, by=request.user, **form.cleaned_data)
        except RametError as error:
            refuse(form, error)
        else:
            messages.success(request, "The acquisition is put right.")
            return redirect("acquisition", pk=pk)
    return render(
        request,
        "inventory/acquisition_form.html",
        {
            "form": form,
            "heading": f"Put right: {found.lineage}",
            "suggestions": suggestions(),
            "back_url": reverse("acquisition", args=[pk]),
        },
    )
