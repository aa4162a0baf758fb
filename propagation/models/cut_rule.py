from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from propagation.models.terms import Measure


def _size(label, help_text):
    return models.DecimalField(
        label,
        max_digits=10,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0.01"))],
        help_text=help_text,
    )


class CutRule(models.Model):
    """How the keeper wants a line, or one colony of it, to be cut. What is left empty falls back from the colony to
    its line and from the line to what is usual for the growth form.

    Sizes are in the unit of ``measure`` and count only for colonies measured so.
    """

    lineage = models.OneToOneField(
        "propagation.Lineage", on_delete=models.PROTECT, null=True, blank=True, related_name="cut_rule"
    )
    colony = models.OneToOneField(
        "propagation.Colony", on_delete=models.PROTECT, null=True, blank=True, related_name="cut_rule"
    )
    fewest_frags = models.PositiveSmallIntegerField(
        "Fewest frags worth a cut", null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(200)]
    )
    largest_share = models.PositiveSmallIntegerField(
        "Most of it that may be removed (%)",
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(95)],
    )
    rest_days = models.PositiveSmallIntegerField(
        "Days of rest after a cut", null=True, blank=True, validators=[MaxValueValidator(730)]
    )
    measure = models.CharField("Sizes below are", max_length=11, choices=Measure, blank=True)
    keep_at_least = _size("Size that must remain", "A mother is never cut back further than this.")
    frag_unit = _size("What one frag takes", "Empty: learned from the cuts of the line.")
    room = _size("Largest size its place allows", "Empty: no limit.")

    history = HistoricalRecords()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(lineage__isnull=False, colony=None) | Q(lineage=None, colony__isnull=False),
                name="cut_rule_is_of_a_line_or_a_colony",
            ),
            # A line's days of rest stand on the line itself.
            models.CheckConstraint(condition=Q(lineage=None) | Q(rest_days=None), name="rest_of_a_line_stands_there"),
            models.CheckConstraint(
                condition=Q(keep_at_least=None, frag_unit=None, room=None) | ~Q(measure=""),
                name="cut_rule_sizes_have_a_measure",
            ),
            models.CheckConstraint(
                condition=(Q(largest_share=None) | Q(largest_share__range=(1, 95)))
                & (Q(fewest_frags=None) | Q(fewest_frags__range=(1, 200)))
                & (Q(keep_at_least=None) | Q(keep_at_least__gt=0))
                & (Q(frag_unit=None) | Q(frag_unit__gt=0))
                & (Q(room=None) | Q(room__gt=0)),
                name="cut_rule_holds_sensible_numbers",
            ),
        ]

    def __str__(self):
        return f"How {self.lineage or self.colony} is cut"
