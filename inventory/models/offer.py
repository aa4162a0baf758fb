"""What is offered to others, at what price, and to whom the offers show."""

from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from simple_history.models import HistoricalRecords

from inventory.models.sale import money, paper_secret


class Availability(models.Model):
    """How the page of offers is shown; there is one row."""

    class Visibility(models.TextChoices):
        OFF = "off", "Off"
        SECRET = "secret", "To whoever has the secret link"
        PUBLIC = "public", "To everybody"

    visibility = models.CharField("Who sees it", max_length=6, choices=Visibility, default=Visibility.OFF)
    secret = models.CharField(max_length=64, unique=True, default=paper_secret, editable=False)
    headline = models.CharField("At the top", max_length=120, blank=True)
    wishes = models.TextField("Would swap for", blank=True, help_text="One wish a line.")
    reach = models.CharField(
        "How to reach you", max_length=200, blank=True, help_text="Shown on the page as it stands."
    )

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="one_availability")]

    def __str__(self):
        return "Availability"

    @classmethod
    def current(cls) -> "Availability":
        """The one row; costs a query."""
        return cls.objects.filter(pk=1).first() or cls(pk=1)


class PlugOffer(models.Model):
    """What differs from the usual for one plug: it is offered as itself instead of as one of several alike, or not at
    all.
    """

    plug = models.OneToOneField("propagation.Plug", on_delete=models.PROTECT, related_name="offer")
    as_itself = models.BooleanField("Offered as itself", default=False)
    withheld = models.BooleanField("Not offered", default=False)
    words = models.CharField("Said of it", max_length=200, blank=True)

    history = HistoricalRecords()

    def __str__(self):
        return f"How {self.plug} is offered"


class SizePrice(models.Model):
    """What a frag of a lineage costs from a size on; below the smallest of these its usual price holds."""

    lineage = models.ForeignKey("propagation.Lineage", on_delete=models.PROTECT, related_name="size_prices")
    from_mm = models.DecimalField(
        "From (mm)", max_digits=5, decimal_places=1, validators=[MinValueValidator(Decimal(1))]
    )
    amount = money()

    history = HistoricalRecords()

    class Meta:
        ordering = ["lineage", "from_mm"]
        constraints = [
            models.UniqueConstraint(fields=["lineage", "from_mm"], name="one_price_per_lineage_and_size"),
            models.CheckConstraint(condition=Q(amount__gte=0, from_mm__gt=0), name="size_price_is_sensible"),
        ]

    def __str__(self):
        return f"{self.lineage} from {self.from_mm} mm: {self.amount}"


class OfferPack(models.Model):
    """Several plugs offered together for one price."""

    name = models.CharField(max_length=120)
    amount = money("Price of all")
    words = models.CharField("Said of it", max_length=200, blank=True)
    plugs = models.ManyToManyField("propagation.Plug", related_name="offer_packs")
    made_at = models.DateTimeField(auto_now_add=True)
    ended_on = models.DateField(null=True, blank=True)

    history = HistoricalRecords()

    class Meta:
        ordering = [Lower("name"), "id"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="offer_pack_has_a_name"),
            models.UniqueConstraint(Lower("name"), condition=Q(ended_on=None), name="one_open_offer_pack_per_name"),
        ]

    def __str__(self):
        return self.name
