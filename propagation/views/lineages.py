"""Lineages: the list, one of them, and its particulars."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import localdate

from propagation.actions.changes import last_change
from propagation.actions.keep_lineage import keep_lineage
from propagation.forms.lineages import LineageFilter, LineageForm
from propagation.kept_elsewhere import kept_by_others
from propagation.losses import Of, lost_after_leaving
from propagation.models import Lineage, Preferences
from propagation.readings.changes import changes_of, former_names
from propagation.readings.growth_pictures import lineage_picture
from propagation.readings.lineages import lineages_with_counts, plugs_by_stage, plugs_that_left
from propagation.readings.next_cuts import next_cut_rows
from propagation.tables.lineages import LineageTable
from propagation.views.answers import carried_out, form_page, sent
from propagation.views.lists import render_list

TOLD = [
    "name",
    "sold_as",
    "identity",
    "genus",
    "species",
    "growth_form",
    "origin",
    "rest_days",
    "insurance_wanted",
    "note",
]


def lineages(request):
    filterset = LineageFilter(request.GET, queryset=lineages_with_counts(localdate()))
    return render_list(
        request,
        "propagation/lineages.html",
        filterset=filterset,
        table_class=LineageTable,
        any_at_all=Lineage.objects.exists(),
    )


def lineage(request, pk):
    today = localdate()
    found = get_object_or_404(lineages_with_counts(today), pk=pk)
    by_age = request.GET.get("scale") != "day"
    return render(
        request,
        "propagation/lineage.html",
        {
            "lineage": found,
            "colonies": found.colonies.order_by("ended_on", "tag"),
            "acquisitions": found.acquisitions.select_related("pack", "returned_plug"),
            "kept_by_others": kept_by_others([found.pk]).get(found.pk, 0),
            "today": today,
            "next_cuts": next_cut_rows(today, lineage=found),
            "growth": lineage_picture(found, by_age=by_age, length_unit=Preferences.current().length_unit),
            "scales": [
                {"url": "?scale=age#growth", "words": "By age", "current": by_age},
                {"url": "?scale=day#growth", "words": "By day", "current": not by_age},
            ],
            "stages": plugs_by_stage(found),
            "left": plugs_that_left(found),
            "lost": lost_after_leaving(Of.LINEAGE, [found.pk]).get(found.pk),
            "former_names": former_names(found),
            "changes": changes_of(found, *TOLD),
        },
    )


def lineage_new(request):
    return _form_page(request, Lineage(name=request.GET.get("name", "")), heading="New lineage")


def lineage_edit(request, pk):
    found = get_object_or_404(Lineage, pk=pk)
    return _form_page(request, found, heading=f"Change {found.name}")


def _form_page(request, record, *, heading):
    back = reverse("lineage", args=[record.pk]) if record.pk else reverse("lineages")
    form = LineageForm(
        sent(request),
        instance=record,
        initial={"based_on": last_change(record) if record.pk else None},
    )
    form.use_unit(Preferences.current().length_unit)

    def keep(told):
        kept = keep_lineage(lineage=form.instance, based_on=told["based_on"], by=request.user)
        messages.success(request, f"{kept.name} is saved.")
        return redirect("lineage", pk=kept.pk)

    if answer := carried_out(request, form, keep, other_url=lambda other: reverse("lineage", args=[other.pk])):
        return answer
    context = {"heading": heading, "back_url": back, "draft": "lineage"}
    return form_page(request, "propagation/lineage_form.html", form, context)
