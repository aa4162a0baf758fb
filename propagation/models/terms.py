"""The trade's words that a field may hold."""

from django.db import models


class GrowthForm(models.TextChoices):
    BRANCHING = "branching", "Branching"
    TABLING = "tabling", "Tabling"
    PLATING = "plating", "Plating"
    ENCRUSTING = "encrusting", "Encrusting"
    MASSIVE = "massive", "Massive"
    POLYPS = "polyps", "Polyps"


class Origin(models.TextChoices):
    """Where a line was first taken from, as recorded."""

    WILD = "wild", "Wild"
    MARICULTURED = "maricultured", "Maricultured"
    CAPTIVE_GROWN = "captive_grown", "Captive-grown"
    UNKNOWN = "unknown", "Unknown"


class IdentityCertainty(models.TextChoices):
    """How sure the keeper is that a line is what its name says."""

    CERTAIN = "certain", "Certain"
    LIKELY = "likely", "Likely"
    DOUBTFUL = "doubtful", "Doubtful"
    UNKNOWN = "unknown", "Unknown"


class Measure(models.TextChoices):
    """What a size is a size of. The value carries the unit it is stored in."""

    BRANCH_LENGTH = "tle_cm", "Total branch length (cm)"
    DIAMETER = "diameter_mm", "Longest diameter (mm)"
    HEIGHT = "height_mm", "Height (mm)"
    AREA = "area_cm2", "Projected area (cm²)"
    POLYPS = "polyps", "Polyps or heads"
    WEIGHT = "weight_g", "Buoyant weight (g)"

    @property
    def unit(self) -> str:
        return {"tle_cm": "cm", "diameter_mm": "mm", "height_mm": "mm", "area_cm2": "cm²", "weight_g": "g"}.get(
            self.value, "polyps"
        )


class Method(models.TextChoices):
    """How a size was taken."""

    RULER = "ruler", "Ruler or calliper"
    PHOTO = "photo", "Photo"
    COUNT = "count", "Count"
    SCALE = "scale", "Scale"
    ESTIMATE = "estimate", "By eye"


class CutTool(models.TextChoices):
    """What frags are cut with. Common practice, no source."""

    BONE_CUTTERS = "bone_cutters", "Bone cutters"
    BAND_SAW = "band_saw", "Band saw"
    ROTARY_TOOL = "rotary_tool", "Rotary tool"
    BLADE = "blade", "Blade or scalpel"
    SNAPPED = "snapped", "Snapped by hand"
    OTHER = "other", "Other"


class HealingStage(models.TextChoices):
    FRESH = "fresh", "Fresh"
    SEALED = "sealed", "Sealed"
    ENCRUSTING = "encrusting", "Encrusting"
    HEALED = "healed", "Healed"

    @property
    def rank(self) -> int:
        return list(HealingStage).index(self)

    @property
    def next(self):
        """The stage after this one, or None after the last."""
        stages = list(HealingStage)
        return stages[self.rank + 1] if self.rank + 1 < len(stages) else None


class Fate(models.TextChoices):
    """What became of a plug. Only a kept plug can be moved, healed, held or sold."""

    KEPT = "kept", "Kept"
    DEAD = "dead", "Dead"
    SOLD = "sold", "Sold"
    TRADED = "traded", "Traded"
    GIVEN = "given", "Given away"
    GROWN_ON = "grown_on", "Grown on"
    VOID = "void", "Void"  # recorded by mistake; its code is never used again


class LossReason(models.TextChoices):
    """Why a plug died."""

    TISSUE_LOSS = "tissue_loss", "Tissue loss"
    BLEACHED = "bleached", "Bleached"
    BROKEN = "broken", "Broken or fell off"
    OVERGROWN = "overgrown", "Overgrown or stung"
    PEST = "pest", "Pest"
    NEVER_SEALED = "never_sealed", "Never sealed"
    OUTAGE = "outage", "Outage"
    UNKNOWN = "unknown", "Unknown"


class EndReason(models.TextChoices):
    """Why a colony is no longer kept."""

    DIED = "died", "Died"
    SOLD = "sold", "Sold"
    TRADED = "traded", "Traded"
    GIVEN = "given", "Given away"
    CUT_UP = "cut_up", "Cut up whole"
    MISTAKE = "mistake", "Recorded by mistake"


class IncidentKind(models.TextChoices):
    BROWNING = "browning", "Browning"
    BLEACHING = "bleaching", "Bleaching"
    SLOW_TISSUE_LOSS = "slow_tissue_loss", "Slow tissue loss"
    RAPID_TISSUE_LOSS = "rapid_tissue_loss", "Rapid tissue loss"
    PEST = "pest", "Pest"
    BREAKAGE = "breakage", "Breakage"
    OVERGROWTH = "overgrowth", "Overgrowth"
    OUTAGE = "outage", "Outage"
    OTHER = "other", "Other"


class WaterParameter(models.TextChoices):
    """What is tested in the water of a system. The value carries the unit it is stored in."""

    TEMPERATURE = "temperature_c", "Temperature"
    SALINITY = "salinity_psu", "Salinity"
    ALKALINITY = "alkalinity_dkh", "Alkalinity"
    CALCIUM = "calcium_mgl", "Calcium"
    MAGNESIUM = "magnesium_mgl", "Magnesium"
    NITRATE = "nitrate_mgl", "Nitrate"
    PHOSPHATE = "phosphate_mgl", "Phosphate"
    PH = "ph", "pH"

    @property
    def unit(self) -> str:
        return {"c": "°C", "psu": "PSU", "dkh": "dKH", "mgl": "mg/L"}.get(self.value.rpartition("_")[2], "")
