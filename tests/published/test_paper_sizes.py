"""Sizes of office paper against the standards that publish them."""

import pytest

from labels.drawing.papers.pages import SIZES

# Sources: ISO 216:2007, A series, A4; ANSI/ASME Y14.1, size A (8.5 × 11 inch, an inch being 25.4 mm).
PUBLISHED = {"a4": (210.0, 297.0), "letter": (8.5 * 25.4, 11 * 25.4)}


@pytest.mark.parametrize("name", PUBLISHED)
def test_papers_have_the_published_sizes(name):
    size = SIZES[name]
    assert (size.width_mm, size.height_mm) == pytest.approx(PUBLISHED[name])
    assert (size.width, size.height) == pytest.approx(tuple(side / 25.4 * 72 for side in PUBLISHED[name]))
