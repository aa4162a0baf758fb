"""Fixtures of photos."""

import pytest

from tests.factories import ColonyFactory
from tests.propagation.photo_samples import DRAWN_CODES, picture_of, printed


@pytest.fixture
def colony():
    return ColonyFactory(tag="M12", code=DRAWN_CODES[0])


@pytest.fixture
def drawn(colony):
    """A photo of the colony beside its printed label, with what is true of it."""
    return picture_of(colony, label_mm=printed(colony)[colony.code])
