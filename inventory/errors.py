"""What can go wrong on the inventory floor, each as a sentence a keeper understands."""

from django.utils.formats import date_format

from propagation.errors import BadValue, RametError

MOST_NAMED = 5  # plugs in one sentence; the rest is counted


class PlugNotReady(RametError):
    """Only a healed plug that is not insurance can be promised."""

    def __init__(self, plug, because):
        self.plug = plug
        super().__init__(f"Plug {plug.code_in_clear} {because}, so it cannot be held. Nothing was held; leave it out.")


class PlugAlreadyPromised(RametError):
    """Somebody else has one of the plugs, or several.

    ``holds`` are the holds in the way, with their plugs and contacts; ``plug`` and ``hold`` are the first of them.
    """

    def __init__(self, holds):
        self.holds = list(holds)
        self.hold = self.holds[0]
        self.plug = self.hold.plug
        named = [
            f"plug {hold.plug.code_in_clear} is held for {hold.contact} until {date_format(hold.until)}"
            for hold in self.holds[:MOST_NAMED]
        ]
        more = len(self.holds) - len(named)
        words = "; ".join(named) + (f"; and {more} more are held" if more else "")
        which = "that hold" if len(self.holds) == 1 else "those holds"
        super().__init__(f"{words[0].upper()}{words[1:]}. Nothing was held: leave it out, or release {which} first.")


class NearlyTheSameName(RametError):
    """There is a contact of a name so alike that it may be the same person."""

    def __init__(self, name, others):
        self.others = list(others)
        super().__init__(
            f"{' and '.join(str(other) for other in self.others)} "
            f"{'is a contact' if len(self.others) == 1 else 'are contacts'} already. "
            f"If {name} is somebody else, tick the box and save again."
        )


class LeavingToConfirm(RametError):
    """Plugs leave though something is against it; the keeper may know better. ``because`` says it plug by plug."""

    def __init__(self, because):
        self.because = list(because)
        named = self.because[:MOST_NAMED]
        more = len(self.because) - len(named)
        words = "; ".join(named) + (f"; and {more} more" if more else "")
        super().__init__(f"{words[0].upper()}{words[1:]}. If it left all the same, tick the box and save again.")


class AmountsNotConverted(RametError):
    """The currency of a book with amounts in it changes only knowingly."""

    def __init__(self, old, new, count):
        self.count = count
        super().__init__(
            f"{count} {'amount stays as it is' if count == 1 else 'amounts stay as they are'}: "
            f"nothing is converted from {old} to {new}. Tick the box if that is right."
        )


class BadAmount(BadValue):
    """An amount of money that cannot be read or cannot be."""
