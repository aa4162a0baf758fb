"""The nouns of propagation."""

from propagation.models.acquisition import Acquisition, Pack
from propagation.models.code import AllottedCode
from propagation.models.colony import Colony, Placement
from propagation.models.cutting import CutEvent, CuttingSession
from propagation.models.health import Incident
from propagation.models.lineage import Lineage
from propagation.models.plug import HealingCheck, Plug
from propagation.models.preferences import Preferences
from propagation.models.size import SizeReading
from propagation.models.system import Spot, System
from propagation.models.terms import (
    EndReason,
    Fate,
    GrowthForm,
    HealingStage,
    IdentityCertainty,
    IncidentKind,
    LossReason,
    Measure,
    Method,
    Origin,
)

__all__ = [
    "Acquisition",
    "AllottedCode",
    "Colony",
    "CutEvent",
    "CuttingSession",
    "EndReason",
    "Fate",
    "GrowthForm",
    "HealingCheck",
    "HealingStage",
    "IdentityCertainty",
    "Incident",
    "IncidentKind",
    "Lineage",
    "LossReason",
    "Measure",
    "Method",
    "Origin",
    "Pack",
    "Placement",
    "Plug",
    "Preferences",
    "SizeReading",
    "Spot",
    "System",
]
