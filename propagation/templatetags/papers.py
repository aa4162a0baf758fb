"""The papers of a sale or a trade, on its page."""

from django import template

from propagation.papers import papers_of

register = template.Library()


@register.inclusion_tag("propagation/parts/papers.html", takes_context=True)
def papers_card(context, thing):
    """``{% papers_card sale %}``: each paper, the paper size, and the link for the other side."""
    request = context["request"]
    return {
        "papers": papers_of(thing, request),
        "csrf_token": context.get("csrf_token"),
        "here": request.get_full_path(),
    }


@register.inclusion_tag("propagation/parts/papers_scan.html", takes_context=True)
def papers_scan(context, thing, words):
    """``{% papers_scan sale "Their papers" %}``: the link for the other side alone, for their phone to scan."""
    return {"papers": papers_of(thing, context["request"]), "words": words}
