from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords


class LineagePrice(models.Model):
    """What one frag of a lineage costs, in the book's currency."""

    lineage = models.OneToOneField("propagation.Lineage", on_delete=models.PROTECT, related_name="price")
    amount = models.DecimalField(max_digits=12, decimal_places=3, validators=[MinValueValidator(Decimal(0))])

    history = HistoricalRecords()

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(amount__gte=0), name="lineage_price_not_negative")]

    def __str__(self):
        return f"{self.lineage}: {self.amount}"


class PlugPrice(models.Model):
    """A price of one plug's own, in place of its lineage's."""

    plug = models.OneToOneField("propagation.Plug", on_delete=models.PROTECT, related_name="own_price")
    amount = models.DecimalField(max_digits=12, decimal_places=3, validators=[MinValueValidator(Decimal(0))])

    history = HistoricalRecords()

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(amount__gte=0), name="plug_price_not_negative")]

    def __str__(self):
        return f"{self.plug}: {self.amount}"
