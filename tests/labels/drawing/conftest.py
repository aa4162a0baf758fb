"""Each shipped stock in turn, for tests that must hold on all of them."""

import pytest

from .samples import STOCKS


@pytest.fixture(params=STOCKS, ids=[stock.name for stock in STOCKS])
def stock(request):
    return request.param
