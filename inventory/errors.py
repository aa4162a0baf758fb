"""What can go wrong on the inventory floor, each as a sentence a keeper understands."""

from django.utils.formats import date_format

from propagation.errors import BadDate, BadValue, RametError

MOST_NAMED = 5  # plugs in one sentence; the rest is counted


def what_of(line) -> str:
    """What a line is of, in words: ``plug K7M-42QX`` or ``colony M12``."""
    return f"plug {line.plug.code_in_clear}" if line.plug_id else f"colony {line.colony.tag}"


def upper_first(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"


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


class ContactForgotten(RametError):
    """Who was forgotten at their wish is dealt with no more."""

    def __init__(self, contact):
        self.contact = contact
        super().__init__(
            f"{contact} was forgotten on {date_format(contact.forgotten_on)}, so nothing more is written for them. "
            "If they are back, enter them by their name as somebody new."
        )


class StillOpen(RametError):
    """Something is open with a contact who asks to be forgotten; each of ``things`` says what, and the way out."""

    def __init__(self, contact, things):
        self.things = list(things)
        named = [thing.sentence for thing in self.things[:MOST_NAMED]]
        more = len(self.things) - len(named)
        super().__init__(
            f"{contact} cannot be forgotten yet. {' '.join(named)}{f' And {more} more.' if more else ''} "
            "Nothing was changed."
        )


class LeavingToConfirm(RametError):
    """Plugs leave though something is against it; the keeper may know better. ``because`` says it plug by plug."""

    def __init__(self, because):
        self.because = list(because)
        named = self.because[:MOST_NAMED]
        more = len(self.because) - len(named)
        words = "; ".join(named) + (f"; and {more} more" if more else "")
        super().__init__(f"{words[0].upper()}{words[1:]}. If it left all the same, tick the box and save again.")


class PlugInSale(RametError):
    """Plugs or colonies are in a sale that stands.

    ``lines`` are the lines in the way, with their plugs or colonies, sales and contacts; ``plug`` is the first plug.
    """

    def __init__(self, lines, wish="sold again"):
        self.lines = list(lines)
        self.plug = self.lines[0].plug
        named = [
            f"{what_of(line)} {'was sold' if line.sale.left_on else 'is'} in sale {line.sale_id} to {line.sale.contact}"
            for line in self.lines[:MOST_NAMED]
        ]
        more = len(self.lines) - len(named)
        words = "; ".join(named) + (f"; and {more} more are in sales" if more else "")
        out = "it" if len(self.lines) == 1 else "them"
        super().__init__(
            f"{words[0].upper()}{words[1:]}, so {'it' if out == 'it' else 'they'} cannot be {wish}. "
            f"Nothing was changed: leave {out} out here, or take {out} out of that sale first."
        )


class PlugTraded(RametError):
    """A plug or a colony is in a trade that stands."""

    def __init__(self, line, wish="sold"):
        self.plug = line.plug
        super().__init__(
            f"{upper_first(what_of(line))} is in trade {line.trade_id} with {line.trade.contact}, "
            f"so it cannot be {wish}. Leave it out."
        )


class HeldForOthers(RametError):
    """Plugs that are to go out in a trade are held for somebody else; ``holds`` have their plugs and contacts."""

    def __init__(self, holds):
        self.holds = list(holds)
        named = [
            f"plug {hold.plug.code_in_clear} is held for {hold.contact} until {date_format(hold.until)}"
            for hold in self.holds[:MOST_NAMED]
        ]
        more = len(self.holds) - len(named)
        words = "; ".join(named) + (f"; and {more} more are held" if more else "")
        out = "it" if len(self.holds) == 1 else "them"
        which = "that hold" if out == "it" else "those holds"
        super().__init__(f"{upper_first(words)}. Nothing was traded: leave {out} out, or release {which} first.")


class SaleToConfirm(RametError):
    """Something is against selling these; the keeper may know better. ``because`` says it one by one."""

    def __init__(self, because):
        self.because = list(because)
        named = self.because[:MOST_NAMED]
        more = len(self.because) - len(named)
        words = "; ".join(named) + (f"; and {more} more" if more else "")
        super().__init__(f"{upper_first(words)}. If it is sold all the same, tick the box and save again.")


class PaidLongBefore(BadDate):
    """A payment is dated long before its sale; the year may be wrong, or the sale was written down late."""

    def __init__(self, sale, on):
        super().__init__(
            f"A payment on {date_format(on)} comes long before sale {sale.pk} was begun on "
            f"{date_format(sale.begun_on)}; is the year right? If it is, tick the box and save again.",
            field="day",
        )


class PaidFromCredit(RametError):
    """What was paid from their credit goes back as money only knowingly."""

    def __init__(self, in_money):
        super().__init__(
            (f"Only {in_money} of it was paid in money" if in_money else "Nothing of it was paid in money")
            + ": the rest came from their credit. Choose “Kept as their credit” for that, or tick the box to give all "
            "of it in money."
        )


class MoneyToSettle(RametError):
    """A sale is called off though something was paid: it must be said what becomes of it."""

    def __init__(self, sale, received, still_owed=False):
        self.received = received
        super().__init__(
            f"{received} is still owed for sale {sale.pk}. To close it all the same, tick the box and save again."
            if still_owed
            else f"{received} was paid for sale {sale.pk}. Say whether it is given back or kept as their credit."
        )


class AmountsNotConverted(RametError):
    """The currency of a book with amounts in it changes only knowingly."""

    def __init__(self, old, new, count):
        self.count = count
        super().__init__(
            f"{count} {'amount stays as it is' if count == 1 else 'amounts stay as they are'}: "
            f"nothing is converted from {old} to {new}. Tick the box if that is right."
        )


class DepositsLie(BadValue):
    """The currency of a book changes only when nobody's deposit lies on a hold: it was paid in the old one."""

    def __init__(self, holds, currency):
        first, *others = holds
        more = f" and {len(others)} more" if others else ""
        super().__init__(
            f"A deposit in {currency} lies on the hold of {first.plug} for {first.contact}{more}. Give it back, keep "
            "it as credit, or begin the sale; then change the currency.",
            field="currency",
        )


class BadAmount(BadValue):
    """An amount of money that cannot be read or cannot be."""


class LateClaim(RametError):
    """A coral is reported later than one answers for it; the keeper may be kind."""

    def __init__(self, line, left_on, days):
        super().__init__(
            f"{upper_first(what_of(line))} left on {date_format(left_on)}, more than {days} days before. "
            "To take the claim all the same, tick the box and save again."
        )
