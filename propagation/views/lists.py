"""What the list pages of the records share: a filter, a table that is not counted, an empty state."""

from django.shortcuts import render
from django_tables2 import RequestConfig

from propagation.paging import UncountedPaginator

ROWS = 25


def in_use(filterset) -> int:
    """How many filters are set."""
    return sum(1 for name in filterset.filters if filterset.data.get(name))


def render_list(request, template, *, filterset, table_class, **context):
    """Filter, sort and page a list, one row more than a page being the only look ahead."""
    table = table_class(filterset.qs)
    RequestConfig(request, paginate={"per_page": ROWS, "paginator_class": UncountedPaginator}).configure(table)
    context |= {"filter": filterset, "table": table, "in_use": in_use(filterset)}
    return render(request, template, context)
