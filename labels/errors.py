"""What can go wrong on the labels floor."""

from propagation.errors import BadValue, RametError


class CannotPrint(RametError):
    """The labels cannot be drawn on this stock; the sentence says why and the way out."""


class NothingToPrint(RametError):
    """Nothing was chosen, or everything has its label."""


class NoSuchStock(BadValue):
    """No stock of this name."""
