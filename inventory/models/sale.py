"""Sales: what was agreed, for how much, what was paid, and when it left.

A sale's state is read off its days, so the two can never differ.
"""

import secrets
from decimal import Decimal

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from simple_history.models import HistoricalRecords

NOTHING = Decimal(0)


def money(label="", **options):
    """A field for an amount of at least nothing, in the currency of its sale."""
    return models.DecimalField(
        label or None, max_digits=12, decimal_places=3, validators=[MinValueValidator(NOTHING)], **options
    )


def paper_secret() -> str:
    """The secret part of the address under which somebody reads their own paper."""
    return secrets.token_urlsafe(24)


class SaleState(models.TextChoices):
    """How far a sale has come. Money and handing over may come in either order."""

    DRAFT = "draft", "Draft"
    AGREED = "agreed", "Agreed"
    PAID = "paid", "Paid"
    HANDED_OVER = "handed_over", "Handed over"
    SENT = "sent", "Sent"
    CLOSED = "closed", "Closed"
    CANCELLED = "cancelled", "Called off"


class SaleQuerySet(models.QuerySet):
    def standing(self):
        """Sales that were not cancelled."""
        return self.filter(cancelled_on=None)

    def under_way(self):
        """Sales with something still to do."""
        return self.filter(cancelled_on=None, closed_on=None)


class Sale(models.Model):
    """Plugs and colonies sold to a contact for money."""

    class Leaving(models.TextChoices):
        HANDED_OVER = "handed_over", "Handed over"
        SENT = "sent", "Sent"

    contact = models.ForeignKey("inventory.Contact", on_delete=models.PROTECT, related_name="sales")
    currency = models.CharField(max_length=3)
    begun_on = models.DateField()
    agreed_on = models.DateField(null=True, blank=True)
    paid_on = models.DateField(null=True, blank=True, help_text="The day on which all of it was paid.")
    left_on = models.DateField(null=True, blank=True)
    left_how = models.CharField(max_length=11, choices=Leaving, blank=True)
    closed_on = models.DateField(null=True, blank=True)
    cancelled_on = models.DateField(null=True, blank=True)
    discount = money("Discount on all", default=NOTHING)
    shipping = money("Shipping", default=NOTHING)
    note = models.CharField(max_length=500, blank=True)
    secret = models.CharField(max_length=64, unique=True, default=paper_secret, editable=False)
    # Set when the page is opened: the same form sent twice finds the sale that the first one made.
    submission = models.UUIDField(unique=True, null=True, blank=True, editable=False)
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    history = HistoricalRecords(excluded_fields=["secret", "submission"])
    objects = SaleQuerySet.as_manager()

    class Meta:
        ordering = ["-begun_on", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(discount__gte=0, shipping__gte=0), name="sale_amounts_not_negative"),
            models.CheckConstraint(
                condition=Q(left_on=None, left_how="") | (Q(left_on__isnull=False) & ~Q(left_how="")),
                name="sale_left_in_some_way",
            ),
            models.CheckConstraint(
                condition=Q(left_on=None) | Q(agreed_on__isnull=False), name="sale_leaves_once_agreed"
            ),
            models.CheckConstraint(
                condition=Q(closed_on=None) | Q(left_on__isnull=False), name="sale_closes_once_it_left"
            ),
            models.CheckConstraint(
                condition=Q(cancelled_on=None) | Q(closed_on=None, left_on=None), name="sale_that_left_is_not_cancelled"
            ),
        ]
        indexes = [models.Index(fields=["-begun_on", "-id"], name="sales_latest_first")]

    def __str__(self):
        return f"Sale {self.pk} to {self.contact}"

    @property
    def state(self) -> str:
        if self.cancelled_on:
            return SaleState.CANCELLED
        if self.closed_on:
            return SaleState.CLOSED
        if self.left_on:
            return SaleState.SENT if self.left_how == self.Leaving.SENT else SaleState.HANDED_OVER
        if self.paid_on and self.agreed_on:
            return SaleState.PAID
        return SaleState.AGREED if self.agreed_on else SaleState.DRAFT

    @property
    def is_owed(self) -> bool:
        """Is what was not paid of it owed? Of a draft nothing is, nor of one that was closed or called off."""
        return bool(self.agreed_on) and self.closed_on is None and self.cancelled_on is None

    @property
    def state_words(self) -> str:
        return SaleState(self.state).label


class SaleLineQuerySet(models.QuerySet):
    def standing(self):
        """Lines not taken out, of a sale that was not cancelled."""
        return self.filter(cancelled_on=None)

    def binding(self):
        """Standing lines of sales that have not left: what they name is promised."""
        return self.standing().filter(sale__left_on=None)


class SaleLine(models.Model):
    """One plug or one whole colony of a sale. A line taken out, or of a cancelled sale, is cancelled and frees it."""

    sale = models.ForeignKey(Sale, on_delete=models.PROTECT, related_name="lines")
    plug = models.ForeignKey(
        "propagation.Plug", on_delete=models.PROTECT, null=True, blank=True, related_name="sale_lines"
    )
    colony = models.ForeignKey(
        "propagation.Colony", on_delete=models.PROTECT, null=True, blank=True, related_name="sale_lines"
    )
    price = money()
    discount = money(default=NOTHING)
    cancelled_on = models.DateField(null=True, blank=True)

    history = HistoricalRecords()
    objects = SaleLineQuerySet.as_manager()

    class Meta:
        ordering = ["sale", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(plug__isnull=False, colony=None) | Q(plug=None, colony__isnull=False),
                name="sale_line_is_of_a_plug_or_a_colony",
            ),
            models.CheckConstraint(
                condition=Q(price__gte=0, discount__gte=0, discount__lte=F("price")),
                name="sale_line_costs_at_least_nothing",
            ),
            # Never twice.
            models.UniqueConstraint(fields=["plug"], condition=Q(cancelled_on=None), name="one_sale_per_plug"),
            models.UniqueConstraint(fields=["colony"], condition=Q(cancelled_on=None), name="one_sale_per_colony"),
        ]

    def __str__(self):
        return f"{self.plug or self.colony} in {self.sale}"

    @property
    def amount(self) -> Decimal:
        return self.price - self.discount


class Payment(models.Model):
    """Money that came for a sale, or went back. Amounts are above nothing; the kind says which way they went."""

    class Kind(models.TextChoices):
        DEPOSIT = "deposit", "Deposit"
        PAYMENT = "payment", "Payment"
        REFUND = "refund", "Refund"

    class Method(models.TextChoices):
        CASH = "cash", "Cash"
        TRANSFER = "transfer", "Bank transfer"
        CARD = "card", "Card"
        CREDIT = "credit", "From their credit"
        OTHER = "other", "Another way"

    sale = models.ForeignKey(Sale, on_delete=models.PROTECT, related_name="payments")
    kind = models.CharField(max_length=8, choices=Kind, default=Kind.PAYMENT)
    method = models.CharField(max_length=8, choices=Method, default=Method.CASH)
    amount = money()
    paid_on = models.DateField()
    note = models.CharField(max_length=200, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True, editable=False)  # entered by mistake

    history = HistoricalRecords()

    class Meta:
        ordering = ["paid_on", "id"]
        constraints = [models.CheckConstraint(condition=Q(amount__gt=0), name="payment_is_more_than_nothing")]
        indexes = [models.Index(fields=["paid_on", "id"], name="payments_by_day")]

    def __str__(self):
        return f"{self.get_kind_display()} of {self.amount} for {self.sale}"

    @property
    def signed(self) -> Decimal:
        """Above nothing for what came, below for what went back."""
        return -self.amount if self.kind == self.Kind.REFUND else self.amount


class CreditQuerySet(models.QuerySet):
    def standing(self):
        """All but what was withdrawn: it was paid out by mistake only."""
        return self.filter(withdrawn_at=None)


class Credit(models.Model):
    """What the keeper owes a contact in goods: given for a claim; below nothing what was used in a later sale, paid out
    or given up. A contact has what all lines that stand come to.
    """

    PAID_OUT_BY = [(method.value, method.label) for method in Payment.Method if method != Payment.Method.CREDIT]

    contact = models.ForeignKey("inventory.Contact", on_delete=models.PROTECT, related_name="credits")
    amount = models.DecimalField(max_digits=12, decimal_places=3)
    currency = models.CharField(max_length=3)
    on = models.DateField()
    claim = models.OneToOneField(
        "inventory.Claim", on_delete=models.PROTECT, null=True, blank=True, related_name="credit"
    )
    payment = models.OneToOneField(Payment, on_delete=models.PROTECT, null=True, blank=True, related_name="credit")
    paid_out_by = models.CharField(max_length=8, choices=PAID_OUT_BY, blank=True)
    note = models.CharField(max_length=200, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True, editable=False)  # paid out by mistake
    # Set when the page is opened: the same form sent twice pays out once.
    submission = models.UUIDField(unique=True, null=True, blank=True, editable=False)

    history = HistoricalRecords(excluded_fields=["submission"])
    objects = CreditQuerySet.as_manager()

    class Meta:
        ordering = ["on", "id"]
        constraints = [
            models.CheckConstraint(condition=~Q(amount=0), name="credit_is_something"),
            models.CheckConstraint(
                condition=Q(paid_out_by="")
                | Q(
                    paid_out_by__in=["cash", "transfer", "card", "other"],
                    amount__lt=0,
                    claim=None,
                    payment=None,
                ),
                name="credit_paid_out_is_taken_off",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at=None) | ~Q(paid_out_by=""), name="only_credit_paid_out_is_withdrawn"
            ),
        ]

    def __str__(self):
        return f"{self.amount} {self.currency} for {self.contact}"

    @property
    def sale_number(self) -> int | None:
        """The sale it came from or was used in."""
        if self.payment_id:
            return self.payment.sale_id
        return self.claim.line.sale_id if self.claim_id else None

    @property
    def what(self) -> str:
        """What happened, in words."""
        if self.paid_out_by:
            return "Paid out"
        if self.amount > 0:
            return "Given"
        return "Used" if self.sale_number else "Given up or taken back"
