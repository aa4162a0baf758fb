"""How far to cut a mother back."""

from django.shortcuts import render
from django.urls import NoReverseMatch, reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_safe

from propagation.forecasts.plans import often, plan_of
from propagation.pictures.plan_curve import plan_curve
from propagation.views.found import colony_or_404


@require_safe
def colony_plan(request, tag):
    """The plan of one mother: the picture, the best, the habit beside it, and what it rests on."""
    colony = colony_or_404(tag)
    plan = plan_of(colony, localdate())
    shown = {
        "colony": colony,
        "plan": plan,
        "picture": plan_curve(
            f"Frags a year of {colony.tag}",
            plan.plan.curve,
            best=plan.best,
            habit=plan.habit,
            unit=plan.unit.name,
            show=plan.size,
            stored=float(plan.unit.factor),
        ),
        "rules_url": _rules_url(colony),
        "why": " ".join(plan.because),
        "way_out": _way_out(colony, plan),
    }
    if plan.best is not None:
        best, rules = plan.best, plan.rules
        shown |= {
            "removed": round(100 * best.share_removed),
            "gain_kind": "success" if plan.gain and plan.gain >= 1 else "info",
            "grows_words": f"from {plan.size(best.cut_to)} to {plan.size(best.cut_at)} in {often(best.days)}",
            "lag_days": round(plan.growth.lag_days),
            "frag_takes": plan.size(rules.frag_unit.mean),
            "keep_words": plan.size(rules.keep_at_least),
            "rest_days": round(rules.rest_days),
        }
    return render(request, "propagation/colony_plan.html", shown)


def _way_out(colony, plan):
    """What a keeper can do where there is no plan."""
    rules = _rules_url(colony)
    if plan.growth is None or plan.open_incidents:
        return {"url": reverse("colony", args=[colony.tag]), "words": f"Back to {colony.tag}"}
    if plan.growth.rate > 0 and rules:
        return {"url": rules, "words": "How it is cut"}
    return {"url": reverse("colony_measure", args=[colony.tag]), "words": "Measure it"}


def _rules_url(colony):
    """The page on which it is set how this colony is cut."""
    for name in ("colony_cut_rule", "colony_rules"):
        try:
            return reverse(name, args=[colony.tag])
        except NoReverseMatch:
            continue
    return ""
