from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from simple_history.models import HistoricalRecords

from propagation.models.terms import GrowthForm, IdentityCertainty, Measure, Origin


class LineageQuerySet(models.QuerySet):
    def named(self, text):
        """Lineages whose kept or sold name, genus or species holds the text."""
        return self.filter(
            Q(name__icontains=text) | Q(sold_as__icontains=text) | Q(genus__icontains=text) | Q(species__icontains=text)
        )


class Lineage(models.Model):
    """A clonal line: everything grown from one original colony or frag, under one identity."""

    name = models.CharField("Kept under the name", max_length=120)
    sold_as = models.CharField("Sold to me as", max_length=120, blank=True)
    identity = models.CharField(
        "How sure is the identity", max_length=8, choices=IdentityCertainty, default=IdentityCertainty.UNKNOWN
    )
    genus = models.CharField(max_length=60, blank=True)
    species = models.CharField(max_length=60, blank=True)
    growth_form = models.CharField(max_length=10, choices=GrowthForm, default=GrowthForm.BRANCHING)
    origin = models.CharField("Origin as recorded", max_length=13, choices=Origin, default=Origin.UNKNOWN)
    note = models.TextField(blank=True)

    # What the cutting bench remembers from the last time.
    frags_per_cut = models.PositiveSmallIntegerField(
        "Frags at a cut", null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(200)]
    )
    frag_size_mm = models.DecimalField(
        "Frag size (mm)",
        max_digits=5,
        decimal_places=1,
        default=Decimal("25"),  # common practice, no source: a one-inch frag is the usual unit of trade
        validators=[MinValueValidator(Decimal(3)), MaxValueValidator(Decimal(300))],
    )
    measure = models.CharField("Measured by", max_length=11, choices=Measure, default=Measure.DIAMETER)
    rest_days = models.PositiveSmallIntegerField(
        "Days a mother rests after a cut",
        null=True,
        blank=True,
        validators=[MaxValueValidator(730)],
        help_text="Empty: as in the preferences.",
    )
    insurance_wanted = models.PositiveSmallIntegerField("Living copies wanted", default=2)

    history = HistoricalRecords()
    objects = LineageQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                name="one_lineage_per_name",
                violation_error_message="There is a lineage of this name already.",
            ),
            models.CheckConstraint(condition=~Q(name=""), name="lineage_has_a_name"),
            models.CheckConstraint(condition=Q(frag_size_mm__gt=0), name="lineage_frag_size_positive"),
        ]

    def __str__(self):
        return self.name

    @property
    def binomial(self) -> str:
        """Genus and species as far as they are known, e.g. ``Acropora millepora`` or ``Acropora sp.``"""
        if not self.genus:
            return ""
        return f"{self.genus} {self.species or 'sp.'}"
