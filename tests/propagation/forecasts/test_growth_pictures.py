"""The pictures of growth on the pages of a mother and of a line."""

from datetime import timedelta

import pytest
from django.utils.timezone import localdate

from propagation.forecasts.bands import LONGEST, SHORTEST, look_ahead, size_band
from propagation.forecasts.outlooks import outlook_of
from propagation.models import SizeReading
from tests.factories import ColonyFactory, IncidentFactory, LineageFactory

pytestmark = pytest.mark.django_db
TODAY = localdate()


def test_the_band_widens_and_holds_its_median(grown):
    outlook = outlook_of(grown(last_on=TODAY), TODAY)
    band = size_band(outlook, TODAY + timedelta(days=300))
    assert (band[0].day, band[-1].day) == (TODAY, TODAY + timedelta(days=300))
    for point in band:
        assert point.q10 < point.q25 < point.median < point.q75 < point.q90
    assert band[-1].q90 - band[-1].q10 > band[0].q90 - band[0].q10
    assert band[0].median == pytest.approx(outlook.size)


def test_one_that_ails_is_not_drawn_growing(grown):
    colony = grown(last_on=TODAY)
    IncidentFactory(colony=colony, kind="slow_tissue_loss", opened_on=TODAY)
    band = size_band(outlook_of(colony, TODAY), TODAY + timedelta(days=100))
    assert band[-1].median <= band[0].median * 1.02


def test_a_picture_looks_past_the_next_cut_within_bounds(grown):
    near = outlook_of(grown(last_on=TODAY, first=60, gain=8), TODAY)
    assert look_ahead(near) == TODAY + SHORTEST
    far = outlook_of(grown(last_on=TODAY, first=70, gain=-2.5), TODAY)
    assert TODAY + SHORTEST <= look_ahead(far) <= TODAY + LONGEST


def test_a_mothers_picture_has_the_forecast_and_says_it_in_its_table(signed_in, grown):
    colony = grown(last_on=TODAY, first=30, gain=3)
    page = signed_in.get(f"/colonies/{colony.tag}/").content.decode()
    assert "needed" in page
    assert "next cut, earliest" in page
    assert "5 of 10 chances" in page


def test_one_never_measured_has_its_forecast_alone(signed_in):
    page = signed_in.get(f"/colonies/{ColonyFactory().tag}/").content.decode()
    assert "8 of 10 chances" in page


def test_one_that_ended_has_sizes_but_no_forecast(signed_in, grown):
    colony = grown(last_on=TODAY, ended_on=TODAY, end_reason="died")
    page = signed_in.get(f"/colonies/{colony.tag}/").content.decode()
    assert "measured" in page
    assert "8 of 10 chances" not in page


def test_all_colonies_of_a_line_stand_on_one_scale_by_age_or_by_day(signed_in, grown):
    lineage = LineageFactory()
    for tag in ("A1", "B2"):
        grown(tag=tag, lineage=lineage, last_on=TODAY)
    by_age = signed_in.get(f"/lineages/{lineage.pk}/").content.decode()
    by_day = signed_in.get(f"/lineages/{lineage.pk}/?scale=day").content.decode()
    assert "of the colonies of" in by_age
    assert by_age != by_day
    assert 'href="?scale=day#growth"' in by_age


def test_a_line_without_sizes_has_no_picture(signed_in):
    colony = ColonyFactory()
    assert not SizeReading.objects.exists()
    page = signed_in.get(f"/lineages/{colony.lineage_id}/").content.decode()
    assert "of the colonies of" not in page
