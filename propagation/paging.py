"""Lists are paged without being counted."""

from django.core.paginator import InvalidPage
from django_tables2.paginators import LazyPaginator

# Nobody turns so many pages; a larger number in an address is a slip, and more than a database can skip.
LAST_PAGE = 1_000_000


class UncountedPaginator(LazyPaginator):
    """Looks one row ahead instead of counting; a page that there is not is answered with the first."""

    def validate_number(self, number):
        return min(super().validate_number(number), LAST_PAGE)

    def get_page(self, number):
        try:
            return self.page(number)
        except InvalidPage:
            return self.page(1)
