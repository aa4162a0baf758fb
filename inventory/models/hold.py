from datetime import timedelta
from decimal import Decimal

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Exists, OuterRef, Q
from simple_history.models import HistoricalRecords

from inventory.models.sale import SaleLine
from propagation.dates import day_in_words
from propagation.models import Fate, HealingStage

FIT_TO_LEAVE = Q(plug__fate=Fate.KEPT, plug__stage=HealingStage.HEALED, plug__is_insurance=False)


class HoldQuerySet(models.QuerySet):
    def active_on(self, day):
        """Holds that bind on a day: not released, and not past the day they end."""
        return self.filter(released_on=None, until__gte=day)

    def ended_by(self, day):
        """Holds that bind no more: released, or past their last day."""
        return self.filter(Q(released_on__isnull=False) | Q(until__lt=day))

    def with_a_deposit(self):
        """Holds on which money still lies."""
        return self.filter(deposit_fate=Hold.DepositFate.LIES)

    def on_plugs_fit_to_leave(self):
        """Holds that wait for something: of a plug that is in a sale already, the sale tells what is next."""
        in_a_sale = SaleLine.objects.binding().filter(plug=OuterRef("plug"))
        return self.filter(FIT_TO_LEAVE, ~Exists(in_a_sale))

    def broken(self):
        """Holds whose plug died, left, or is no longer healed: whoever has them must be told."""
        return self.exclude(FIT_TO_LEAVE)


class Hold(models.Model):
    """A plug promised to a contact until a day (that day included).

    The day after, it ends by itself. It is then marked as released on that day as soon as the next hold of the plug is
    made; until then only the days tell. Of several deposits one after the other the last stands here; the history has
    them all.
    """

    class DepositFate(models.TextChoices):
        """What became of the money that was paid for a hold."""

        LIES = "lies", "Lies with you"
        COUNTED = "counted", "Counted in the sale"
        GIVEN_BACK = "given_back", "Given back"
        CREDIT = "credit", "Kept as credit"

    plug = models.ForeignKey("propagation.Plug", on_delete=models.PROTECT, related_name="holds")
    contact = models.ForeignKey("inventory.Contact", on_delete=models.PROTECT, related_name="holds")
    until = models.DateField()
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    released_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    deposit = models.DecimalField(
        "Deposit paid",
        max_digits=12,
        decimal_places=3,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
        help_text="Counts towards the sale.",
    )
    deposit_currency = models.CharField(max_length=3, blank=True)
    deposit_fate = models.CharField("What became of the deposit", max_length=10, choices=DepositFate, blank=True)

    history = HistoricalRecords()
    objects = HoldQuerySet.as_manager()

    class Meta:
        ordering = ["until", "id"]
        constraints = [
            # One promise at a time, whatever the code above forgets.
            models.UniqueConstraint(fields=["plug"], condition=Q(released_on=None), name="one_open_hold_per_plug"),
            models.CheckConstraint(
                condition=Q(deposit=None, deposit_currency="", deposit_fate="")
                | Q(
                    deposit__isnull=False,
                    deposit__gt=0,
                    deposit_currency__gt="",
                    deposit_fate__in=["lies", "counted", "given_back", "credit"],
                ),
                name="hold_says_what_became_of_its_deposit",
            ),
        ]
        indexes = [models.Index(fields=["until"], condition=Q(released_on=None), name="open_holds")]

    def __str__(self):
        return f"{self.plug} for {self.contact} until {day_in_words(self.until)}"

    def is_active(self, day) -> bool:
        return self.released_on is None and self.until >= day

    @property
    def deposit_lies(self) -> bool:
        """Does money still lie on it?"""
        return self.deposit_fate == self.DepositFate.LIES

    @property
    def ends_by_itself_on(self):
        return self.until + timedelta(days=1)

    @property
    def ended_by_itself(self) -> bool:
        """Did its last day pass? Only for a hold that binds no more."""
        return self.released_on is None or self.released_on > self.until


class Waiting(models.Model):
    """A contact who is next in line for a plug that somebody else holds; first come, first in line."""

    plug = models.ForeignKey("propagation.Plug", on_delete=models.PROTECT, related_name="waiting")
    contact = models.ForeignKey("inventory.Contact", on_delete=models.PROTECT, related_name="waiting")
    since = models.DateTimeField(auto_now_add=True)
    ended_on = models.DateField(null=True, blank=True, help_text="The day they got it, gave up, or it was gone.")
    note = models.CharField(max_length=200, blank=True)

    history = HistoricalRecords()

    class Meta:
        ordering = ["plug", "since", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["plug", "contact"], condition=Q(ended_on=None), name="once_in_line_for_a_plug"
            ),
        ]

    def __str__(self):
        return f"{self.contact} waits for {self.plug}"
