"""How a line, or one colony of it, is cut."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.timezone import localdate

from propagation.actions.changes import last_change
from propagation.actions.keep_cut_rule import keep_cut_rule
from propagation.forms.cut_rule import CutRuleForm
from propagation.models import CutRule, Lineage, Preferences
from propagation.readings.changes import changes_of
from propagation.readings.cut_rule import what_holds
from propagation.views.answers import carried_out, form_page, sent
from propagation.views.found import colony_or_404

FIELDS = ("fewest_frags", "largest_share", "rest_days", "measure", "keep_at_least", "frag_unit", "room")


def lineage_cut_rule(request, pk):
    lineage = get_object_or_404(Lineage, pk=pk)
    return _page(request, lineage, {"lineage": lineage}, reverse("lineage", args=[pk]))


def colony_cut_rule(request, tag):
    colony = colony_or_404(tag)
    return _page(request, colony.lineage, {"colony": colony}, reverse("colony", args=[colony.tag]))


def _page(request, lineage, of, back):
    colony = of.get("colony")
    rule = CutRule.objects.filter(**of).first()
    measure = (rule and rule.measure) or lineage.measure
    form = CutRuleForm(
        sent(request),
        rule=rule,
        measure=measure,
        length_unit=Preferences.current().length_unit,
        holds=what_holds(lineage, measure, localdate(), colony=colony),
        initial={"based_on": last_change(rule) if rule else 0},
    )
    if colony is None:
        del form.fields["rest_days"]

    def keep(_):
        keep_cut_rule(by=request.user, **of, **form.told)
        messages.success(request, f"How {colony or lineage} is cut is saved.")
        return redirect(back)

    if answer := carried_out(request, form, keep):
        return answer
    return form_page(
        request,
        "propagation/cut_rule.html",
        form,
        {
            "heading": f"How {colony} is cut" if colony else f"How {lineage} is cut",
            "lineage": lineage,
            "colony": colony,
            "back_url": back,
            "back_label": str(colony or lineage),
            "changes": changes_of(rule, *FIELDS) if rule else [],
        },
    )
