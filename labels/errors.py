"""What can go wrong on the labels floor."""

from propagation.dates import day_in_words
from propagation.errors import AlreadyDone, BadValue, RametError


class CannotPrint(RametError):
    """The labels cannot be drawn on this stock; the sentence says why and the way out."""


class NothingToPrint(RametError):
    """Nothing was chosen, or everything has its label."""


class NoSuchStock(BadValue):
    """No stock of this name."""


class NoSuchPaper(BadValue):
    """No paper of this kind or size, or nothing that it could be of."""


class PassportCameAlready(AlreadyDone):
    """A passport is taken in once; ``acquisition`` is what it came with."""

    def __init__(self, acquisition):
        self.acquisition = acquisition
        came = ", ".join(
            [plug.code_in_clear for plug in acquisition.plugs.order_by("pk")[:3]]
            + [colony.tag for colony in acquisition.colonies.order_by("pk")[:3]]
        )
        super().__init__(
            f"This passport came in already, with {acquisition.lineage} on {day_in_words(acquisition.acquired_on)}"
            f"{f' as {came}' if came else ''} (acquisition {acquisition.pk})."
        )


class OwnPlugNeverLeft(BadValue):
    """The passport is of a plug that is the keeper's own and did not leave."""

    def __init__(self, plug):
        self.plug = plug
        super().__init__(
            f"This is the passport of your own plug {plug.code_in_clear}, which never left you by your records: "
            f"it is {plug.get_fate_display().lower()}. If it left and came back, record first that it left."
        )
