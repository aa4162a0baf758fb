"""Water: how it stands in each system, recording tests, and what should hold."""

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST

from propagation.actions.changes import last_change
from propagation.actions.water_tests import (
    drop_water_range,
    keep_water_range,
    record_water_tests,
    take_back_water_test,
)
from propagation.dates import day_in_words
from propagation.errors import RowErrors, UnlikelyTests
from propagation.forms.fields import refuse
from propagation.forms.water import WaterRangeForm, WaterTestForm
from propagation.lengths import plain
from propagation.models import System, WaterParameter, WaterRange, WaterTest
from propagation.paging import UncountedPaginator
from propagation.readings.changes import changes_of
from propagation.readings.water import KeepersLimits, course_of, tests_of, water_now, water_of, with_unit
from propagation.readings.water_picture import water_picture
from propagation.views.answers import carried_out, form_page, sent, tried

ROWS = 25


def waters(request):
    now = {water.system_id: water for water in water_now(localdate())}
    kept = KeepersLimits()
    return render(
        request,
        "propagation/waters.html",
        {
            "today": localdate(),
            "systems": [(each, now.get(each.pk)) for each in System.objects.running().order_by("name")],
            "limits": [(parameter, kept.of(None, parameter)) for parameter in WaterParameter],
        },
    )


def _parameter(text) -> WaterParameter | None:
    return WaterParameter(text) if text in WaterParameter.values else None


def system_water(request, pk):
    found = get_object_or_404(System, pk=pk)
    chosen = _parameter(request.GET.get("parameter"))
    tests = tests_of(found).select_related("recorded_by")
    now = water_of(found, localdate())
    address = reverse("system_water", args=[pk])
    tabs = [{"url": f"{address}#tests", "words": "All", "current": chosen is None}] + [
        {
            "url": f"{address}?parameter={each.parameter.value}#tests",
            "words": each.parameter.label,
            "current": each.parameter == chosen,
        }
        for each in now
        if each.value is not None
    ]
    picture = rows = None
    if chosen:
        tests = tests.filter(parameter=chosen)
        limits = next(each.limits for each in now if each.parameter == chosen)
        course = course_of(found, chosen)
        picture = water_picture(course, limits)
        rows = [(day_in_words(day), with_unit(value, chosen)) for day, value in reversed(course)]
    return render(
        request,
        "propagation/system_water.html",
        {
            "system": found,
            "today": localdate(),
            # What is wrong comes first, what was never tested last.
            "now": [
                (each, each.counts_on(localdate()))
                for each in sorted(now, key=lambda each: (each.value is None, not each.is_out))
            ],
            "worries": [
                sentence for each in now if each.counts_on(localdate()) for sentence in each.worries(found.name)
            ],
            "chosen": chosen,
            "tabs": tabs,
            "picture": picture,
            "rows": rows,
            "tests": UncountedPaginator(tests, ROWS).get_page(request.GET.get("page")),
        },
    )


def water_test(request, pk):
    found = get_object_or_404(System, pk=pk)
    form = WaterTestForm(
        sent(request),
        now=water_of(found, localdate()),
        initial={"day": min(localdate(), found.ended_on or localdate())},
    )

    def record(told):
        try:
            tests = record_water_tests(
                system=found,
                values=form.values,
                on=told["day"],
                today=localdate(),
                note=told["note"],
                confirmed=told["confirmed"],
                by=request.user,
            )
        except UnlikelyTests as error:
            return _test_page(request, form, found, unlikely=error)
        words = "1 value" if len(tests) == 1 else f"{len(tests)} values"
        messages.success(request, f"{words} of {found} saved.")
        return redirect("system_water", pk=pk)

    if answer := carried_out(request, form, record, refuse=_refuse_values):
        return answer
    return _test_page(request, form, found)


def _refuse_values(form, error):
    """Put what is wrong with single values next to them."""
    if isinstance(error, RowErrors):
        for _, parameter, sentence in error.errors:
            form.add_error(parameter, sentence)
    else:
        refuse(form, error)


def _test_page(request, form, found, *, unlikely=None):
    """The page of a test; with ``unlikely`` it asks whether that is so."""
    questions = [
        (sentence, parameter, likely is not None and plain(likely), with_unit(likely or 0, parameter))
        for parameter, sentence, likely in (unlikely.found if unlikely else [])
    ]
    context = {
        "system": found,
        "unlikely": questions,
        "back_url": reverse("system_water", args=[found.pk]),
        "back_label": f"Water in {found}",
    }
    return form_page(request, "propagation/water_test.html", form, context, refused=bool(questions))


@require_POST
def water_take_back(request, pk):
    found = get_object_or_404(WaterTest.objects.select_related("system"), pk=pk)
    words = f"{found.get_parameter_display()} {with_unit(found.value, found.parameter)} is taken back."
    tried(request, lambda: take_back_water_test(test=found, by=request.user), words)
    return redirect("system_water", pk=found.system_id)


def water_limits(request, parameter, pk=None):
    """What a parameter should be, in one system or, without one, in all of them."""
    found = _parameter(parameter)
    if found is None:
        raise Http404(parameter)
    system = get_object_or_404(System, pk=pk) if pk is not None else None
    back = reverse("system_water", args=[pk]) if system else reverse("water")
    own = WaterRange.objects.filter(system=system, parameter=found).order_by().first()
    kept = KeepersLimits().of(pk, found)
    form = WaterRangeForm(
        sent(request),
        initial={
            "low": kept.limits.low,
            "high": kept.limits.high,
            "largest_swing": kept.limits.largest_swing,
            "swing_days": kept.limits.swing_days,
            "based_on": last_change(own) if own else 0,
        },
    )
    where = system or "all systems"
    if request.method == "POST" and own and "drop" in request.POST:
        words = f"The limits of {found.label} for {where} are given up."
        tried(request, lambda: drop_water_range(kept=own, by=request.user), words)
        return redirect(back)

    def keep(told):
        keep_water_range(parameter=found, system=system, by=request.user, **told)
        messages.success(request, f"The limits of {found.label} for {where} are saved.")
        return redirect(back)

    if answer := carried_out(request, form, keep):
        return answer
    return form_page(
        request,
        "propagation/water_limits.html",
        form,
        {
            "parameter": found,
            "unit": found.unit,
            "system": system,
            "own": own,
            "kept": kept,
            "heading": f"{found.label} in {where}",
            "back_url": back,
            "back_label": f"Water in {system}" if system else "Water",
            "changes": changes_of(own, "low", "high", "largest_swing", "swing_days") if own else [],
        },
    )
