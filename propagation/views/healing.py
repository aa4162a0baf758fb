"""How each line heals."""

from django.shortcuts import render
from django.utils.timezone import localdate
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from propagation.pictures.healing_curve import healing_curve
from propagation.readings.healing_outlook import healed_shares, healing_by_tool, healing_lines
from propagation.tables.healing import HealingByToolTable, HealingTable, per_cent


@require_safe
def healing(request):
    """Days to healed and the share that makes it, for each line that was ever cut; the curve of one, or of all;
    and how plugs fare by what they were cut with."""
    found = healing_lines(localdate())
    line = found.of(request.GET.get("lineage"))
    whose = "Any line" if line.lineage is None else line.lineage.name
    table = HealingTable(found.lines, exclude=[] if found.usual.left.sold else ["lost"])
    RequestConfig(request, paginate=False).configure(table)
    by_tool = healing_by_tool(found.model) if found.lines else []
    context = {
        "found": found,
        "line": line,
        "picture": healing_curve(f"{whose}: share healed by the days since the cut", healed_shares(found.model, line)),
        "table": table,
        "by_tool": HealingByToolTable(by_tool) if by_tool else None,
        "tool_leaning": any(row.leans_on_others for row in by_tool),
        "sold_by_tool": any(row.left.sold for row in by_tool),
        "leaning": sum(line.leans_on_others for line in found.lines),
        "usual_share": per_cent(found.usual.figures.healed_share),
    }
    return render(request, "propagation/healing.html", context)
