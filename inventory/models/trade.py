from decimal import Decimal
from uuid import uuid4

from django.conf import settings
from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from inventory.models.sale import paper_secret
from propagation.dates import day_in_words


class Trade(models.Model):
    """Plugs or colonies given to a contact for plugs or colonies received, with a difference in cash if any."""

    contact = models.ForeignKey("inventory.Contact", on_delete=models.PROTECT, related_name="trades")
    traded_on = models.DateField()
    currency = models.CharField(max_length=3)
    cash = models.DecimalField(
        "Cash on top",
        max_digits=12,
        decimal_places=3,
        default=Decimal(0),
        help_text="Above nothing: they paid you. Below nothing: you paid them.",
    )
    note = models.CharField(max_length=500, blank=True)
    cancelled_on = models.DateField(null=True, blank=True)
    secret = models.CharField(max_length=64, unique=True, default=paper_secret, editable=False)
    submission = models.UUIDField(unique=True, null=True, blank=True, editable=False, default=uuid4)
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    history = HistoricalRecords(excluded_fields=["secret", "submission"])

    class Meta:
        ordering = ["-traded_on", "-id"]

    def __str__(self):
        return f"Trade {self.pk} with {self.contact}"


class TradeLine(models.Model):
    """One thing that left in a trade (a plug or a colony), or what came in (an acquisition)."""

    trade = models.ForeignKey(Trade, on_delete=models.PROTECT, related_name="lines")
    plug = models.ForeignKey(
        "propagation.Plug", on_delete=models.PROTECT, null=True, blank=True, related_name="trade_lines"
    )
    colony = models.ForeignKey(
        "propagation.Colony", on_delete=models.PROTECT, null=True, blank=True, related_name="trade_lines"
    )
    acquisition = models.OneToOneField(
        "propagation.Acquisition", on_delete=models.PROTECT, null=True, blank=True, related_name="trade_line"
    )
    cancelled_on = models.DateField(null=True, blank=True)

    history = HistoricalRecords()

    class Meta:
        ordering = ["trade", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(plug__isnull=False, colony=None, acquisition=None)
                | Q(plug=None, colony__isnull=False, acquisition=None)
                | Q(plug=None, colony=None, acquisition__isnull=False),
                name="trade_line_goes_out_or_comes_in",
            ),
            models.UniqueConstraint(fields=["plug"], condition=Q(cancelled_on=None), name="one_trade_per_plug"),
            models.UniqueConstraint(fields=["colony"], condition=Q(cancelled_on=None), name="one_trade_per_colony"),
        ]

    def __str__(self):
        return f"{self.plug or self.colony or self.acquisition} in {self.trade}"


class Safekeeping(models.Model):
    """A living copy that a contact keeps for the owner: a plug that left, asked after from time to time, until it comes
    back, is lost, or is theirs for good.
    """

    class Outcome(models.TextChoices):
        RETURNED = "returned", "Came back"
        LOST = "lost", "Lost"
        THEIRS = "theirs", "Theirs for good"

    contact = models.ForeignKey("inventory.Contact", on_delete=models.PROTECT, related_name="safekeepings")
    plug = models.ForeignKey("propagation.Plug", on_delete=models.PROTECT, related_name="safekeepings")
    since = models.DateField()
    ask_every_days = models.PositiveSmallIntegerField("Days between asking after it", default=90)
    asked_on = models.DateField(null=True, blank=True, help_text="The day it was last known to be alive.")
    ended_on = models.DateField(null=True, blank=True)
    outcome = models.CharField(max_length=8, choices=Outcome, blank=True)
    note = models.CharField(max_length=500, blank=True)

    history = HistoricalRecords()

    class Meta:
        ordering = ["since", "id"]
        constraints = [
            models.UniqueConstraint(fields=["plug"], condition=Q(ended_on=None), name="one_keeper_per_plug"),
            models.CheckConstraint(
                condition=Q(ended_on=None, outcome="") | (Q(ended_on__isnull=False) & ~Q(outcome="")),
                name="safekeeping_ends_with_an_outcome",
            ),
            models.CheckConstraint(condition=Q(ask_every_days__range=(1, 730)), name="safekeeping_is_asked_after"),
        ]

    def __str__(self):
        return f"{self.plug} kept by {self.contact} since {day_in_words(self.since)}"


class Claim(models.Model):
    """A sold frag reported dead or damaged, and what was done about it."""

    class Kind(models.TextChoices):
        DEAD = "dead", "Dead on arrival"
        DAMAGED = "damaged", "Damaged"
        DIED_LATER = "died_later", "Died within the days agreed"
        WRONG = "wrong", "Not what was agreed"

    class Outcome(models.TextChoices):
        REPLACED = "replaced", "Replaced"
        CREDIT = "credit", "Credit"
        REFUNDED = "refunded", "Refunded"
        REFUSED = "refused", "Refused"

    line = models.OneToOneField("inventory.SaleLine", on_delete=models.PROTECT, related_name="claim")
    kind = models.CharField(max_length=10, choices=Kind)
    reported_on = models.DateField()
    words = models.CharField("What they wrote", max_length=500, blank=True)
    settled_on = models.DateField(null=True, blank=True)
    outcome = models.CharField(max_length=8, choices=Outcome, blank=True)
    replaced_by = models.OneToOneField(
        "inventory.SaleLine", on_delete=models.PROTECT, null=True, blank=True, related_name="replaces"
    )
    refund = models.OneToOneField(
        "inventory.Payment", on_delete=models.PROTECT, null=True, blank=True, related_name="claim"
    )
    note = models.CharField(max_length=500, blank=True)

    history = HistoricalRecords()

    class Meta:
        ordering = ["-reported_on", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(settled_on=None, outcome="") | (Q(settled_on__isnull=False) & ~Q(outcome="")),
                name="claim_is_settled_with_an_outcome",
            ),
        ]

    def __str__(self):
        return f"{self.get_kind_display()}: {self.line}"


class ClaimPicture(models.Model):
    """A picture sent with a claim; the file lies under RAMET_HOME/files, shown to the keeper alone."""

    claim = models.ForeignKey(Claim, on_delete=models.PROTECT, related_name="pictures")
    file = models.FileField(upload_to="claims/%Y/")
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["claim", "id"]

    def __str__(self):
        return self.file.name
