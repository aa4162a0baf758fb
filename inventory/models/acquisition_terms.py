from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords


class AcquisitionTerms(models.Model):
    """From whom an acquisition came and what it cost; apart from it, for propagation knows no people and no money."""

    acquisition = models.OneToOneField("propagation.Acquisition", on_delete=models.PROTECT, related_name="terms")
    contact = models.ForeignKey(
        "inventory.Contact", on_delete=models.PROTECT, null=True, blank=True, related_name="acquisitions"
    )
    amount = models.DecimalField(
        "Paid in all",
        max_digits=12,
        decimal_places=3,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
    )
    currency = models.CharField(max_length=3, blank=True)

    history = HistoricalRecords()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(amount=None, currency="") | Q(amount__isnull=False, amount__gte=0, currency__gt=""),
                name="acquisition_cost_has_a_currency",
            )
        ]

    def __str__(self):
        return f"{self.acquisition} from {self.contact or 'somebody'}"
