"""Daily light integral: DLI = PPFD · hours · 3600 / 10⁶ (definition; analytic)."""

import pytest

from propagation.yield_model.units import daily_light_integral


def test_twelve_hours_at_300():
    assert daily_light_integral(300, 12) == pytest.approx(12.96)


def test_a_longer_day_than_a_day_is_refused():
    with pytest.raises(ValueError, match="24"):
        daily_light_integral(300, 25)
