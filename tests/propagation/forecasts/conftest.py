from datetime import date, timedelta
from decimal import Decimal

import pytest

from propagation.models import ForecastMark, SizeReading
from tests.factories import ColonyFactory

TODAY = date(2026, 6, 15)


@pytest.fixture
def grown():
    """Make a colony that was measured every 30 days up to today, growing by so many mm a month from a first size."""

    def make(*, months=12, first=40, gain=4, last_on=TODAY, measure="diameter_mm", **colony):
        made = ColonyFactory(**colony)
        SizeReading.objects.bulk_create(
            SizeReading(
                colony=made,
                taken_on=last_on - timedelta(days=30 * (months - month)),
                measure=measure,
                value=Decimal(str(round(first + gain * month, 1))),
            )
            for month in range(months + 1)
        )
        return made

    return make


@pytest.fixture
def no_marks():
    """Forget what has changed so far."""

    def forget():
        ForecastMark.objects.all().delete()

    return forget
