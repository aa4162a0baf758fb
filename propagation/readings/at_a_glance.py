"""The numbers that a keeper wants to see first, and how far a new keeper has come."""

from dataclasses import dataclass
from datetime import date

from propagation.models import Acquisition, Colony, CuttingSession, Lineage, Plug, System
from propagation.readings.living_copies import lines_on_one_copy


@dataclass(frozen=True)
class AtAGlance:
    """Counts of a day, and which of the first steps are done: a system, a lineage, something acquired, a cut."""

    mothers: int
    healing: int
    ready: int
    lines_on_one_copy: int
    has_system: bool
    has_lineage: bool
    has_acquired: bool
    has_cut: bool

    @property
    def is_beginning(self) -> bool:
        """Has nothing been cut yet?"""
        return not self.has_cut


def at_a_glance(day: date) -> AtAGlance:
    """Eight queries, whatever is kept."""
    return AtAGlance(
        mothers=Colony.objects.alive().count(),
        healing=Plug.objects.healing().count(),
        ready=Plug.objects.ready_on(day).count(),
        lines_on_one_copy=lines_on_one_copy().count(),
        has_system=System.objects.exists(),
        has_lineage=Lineage.objects.exists(),
        has_acquired=Acquisition.objects.exists(),
        has_cut=CuttingSession.objects.exists(),
    )
