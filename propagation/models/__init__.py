"""The nouns of propagation."""

from propagation.models.absence import Absence
from propagation.models.acquisition import Acquisition, Pack
from propagation.models.calendar import CalendarAddress
from propagation.models.code import AllottedCode
from propagation.models.colony import Colony, Placement
from propagation.models.cut_rule import CutRule
from propagation.models.cutting import CutEvent, CuttingSession
from propagation.models.forecast import (
    BacktestRun,
    Binding,
    ColonyOutlook,
    Forecast,
    ForecastMark,
    ForecastScore,
    LearnedGrowth,
    LearnedHealing,
)
from propagation.models.health import Incident
from propagation.models.lineage import Lineage
from propagation.models.photo import GrowthFilm, Photo, PhotoMeasurement, PhotoRound
from propagation.models.plug import HealingCheck, Plug
from propagation.models.preferences import Preferences
from propagation.models.size import SizeReading
from propagation.models.system import Spot, System
from propagation.models.terms import (
    CutTool,
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
    WaterParameter,
)
from propagation.models.water import USUAL_LIMITS, WaterLimits, WaterRange, WaterTest

__all__ = [
    "USUAL_LIMITS",
    "Absence",
    "Acquisition",
    "AllottedCode",
    "BacktestRun",
    "Binding",
    "CalendarAddress",
    "Colony",
    "ColonyOutlook",
    "CutEvent",
    "CutRule",
    "CutTool",
    "CuttingSession",
    "EndReason",
    "Fate",
    "Forecast",
    "ForecastMark",
    "ForecastScore",
    "GrowthFilm",
    "GrowthForm",
    "HealingCheck",
    "HealingStage",
    "IdentityCertainty",
    "Incident",
    "IncidentKind",
    "LearnedGrowth",
    "LearnedHealing",
    "Lineage",
    "LossReason",
    "Measure",
    "Method",
    "Origin",
    "Pack",
    "Photo",
    "PhotoMeasurement",
    "PhotoRound",
    "Placement",
    "Plug",
    "Preferences",
    "SizeReading",
    "Spot",
    "System",
    "WaterLimits",
    "WaterParameter",
    "WaterRange",
    "WaterTest",
]
