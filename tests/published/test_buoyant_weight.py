"""Buoyant weight and seawater density.

Sources: Jokiel PL, Maragos JE, Franzisket L 1978, in Coral Reefs: Research Methods (UNESCO); Davies PS 1989, Mar. Biol.
101:389–395 (from memory); EOS-80: UNESCO Technical Papers in Marine Science 44, 1983 (from memory); TEOS-10 through
gsw.
"""

import numpy as np
import pytest

from propagation.yield_model.units import buoyant_weight, dry_weight, inch_from_mm, mm_from_inch, seawater_density


def test_ten_grams_under_water():
    assert dry_weight(10.0, 1.0233) == pytest.approx(15.36686, abs=1e-5)
    assert buoyant_weight(dry_weight(10.0, 1.0233), 1.0233) == pytest.approx(10.0)


@pytest.mark.parametrize(("temperature", "density"), [(25.0, 1023.343), (5.0, 1027.675)])
def test_published_densities(temperature, density):
    assert seawater_density(35.0, temperature) == pytest.approx(density, abs=1e-3)


def test_density_stays_within_twenty_grams_a_cubic_metre_of_teos_10():
    gsw = pytest.importorskip("gsw")
    for salinity in (30.0, 33.0, 35.0, 37.0):
        for temperature in (18.0, 24.0, 27.0, 30.0):
            theirs = gsw.rho_t_exact(gsw.SA_from_SP(salinity, 0, 0, 0), temperature, 0)
            assert seawater_density(salinity, temperature) == pytest.approx(theirs, abs=0.02)


def test_what_would_float_is_refused():
    with pytest.raises(ValueError, match="denser"):
        dry_weight(10.0, 1023.0)
    with pytest.raises(ValueError, match="salinity"):
        seawater_density(np.nan, 25.0)


def test_an_inch_is_25_4_mm():
    assert mm_from_inch(1.0) == 25.4
    assert inch_from_mm(25.4) == 1.0
