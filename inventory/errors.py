"""What can go wrong on the inventory floor, each as a sentence a keeper understands."""

from propagation.errors import BadValue, RametError


class PlugNotReady(RametError):
    """Only a healed plug that is not insurance can be promised."""

    def __init__(self, plug, because):
        self.plug = plug
        super().__init__(f"Plug {plug.code_in_clear} {because}, so it cannot be held.")


class PlugAlreadyPromised(RametError):
    """Somebody else has the plug."""

    def __init__(self, plug, hold):
        self.plug = plug
        self.hold = hold
        super().__init__(
            f"Plug {plug.code_in_clear} is held for {hold.contact} until {hold.until:%Y-%m-%d}. "
            "Choose another, or release that hold first."
        )


class BadAmount(BadValue):
    """An amount of money that cannot be read or cannot be."""
