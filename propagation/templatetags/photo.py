"""What pages on photos write: places of an outline, and by how much a size changed."""

from django import template

register = template.Library()


@register.filter
def as_points(outline) -> str:
    """An outline as an SVG polygon wants it: ``[[1, 2], [3, 4]]`` is ``1,2 3,4``."""
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in outline or ())


@register.filter
def signed_percent(share) -> str:
    """A change in whole percent with its sign: ``+12 %``, ``−3 %``, ``no change``."""
    if share is None:
        return ""
    whole = round(100 * share)
    return f"{'+' if whole > 0 else '−'}{abs(whole)} %" if whole else "no change"
