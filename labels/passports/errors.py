"""Why a passport is not taken, in a sentence with the way out."""

from propagation.errors import RametError


class PassportRefused(RametError):
    """The file is no passport, or not one that can be trusted; the sentence says why."""


class KeyUnreadable(RametError):
    """The keeper's own key is damaged; it is never replaced silently."""


class PassportTooLong(RametError):
    """The line is so long that its passport would be larger than any keeper takes."""
