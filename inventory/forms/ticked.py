"""What forms share beside which plugs and colonies are ticked."""

from inventory.errors import HeldForOthers, PlugAlreadyPromised, PlugInSale, PlugNotReady, PlugTraded
from propagation.errors import PlugGone
from propagation.forms.fields import AsksWhenWarned


def codes_in_the_way(error) -> set[str]:
    """The codes of the plugs and colonies that a refusal says cannot be had."""
    if isinstance(error, PlugInSale):
        return {(line.plug or line.colony).code for line in error.lines}
    if isinstance(error, PlugAlreadyPromised | HeldForOthers):
        return {hold.plug.code for hold in error.holds}
    if isinstance(error, PlugGone | PlugNotReady | PlugTraded) and error.plug:
        return {error.plug.code}
    return set()


class UnticksWhatCannotBeHad(AsksWhenWarned):
    """For a form beside which things are ticked: ``taken_out`` has the codes of those that a refusal unticks."""

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.taken_out = set()

    def ask_about(self, error) -> None:
        super().ask_about(error)
        self.taken_out |= codes_in_the_way(error)
