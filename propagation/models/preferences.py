from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q


class Preferences(models.Model):
    """The keeper's choices; there is one row."""

    class LengthUnit(models.TextChoices):
        MILLIMETRE = "mm", "Millimetres"
        INCH = "inch", "Inches"

    display_name = models.CharField(
        "Name shown on public pages", max_length=80, blank=True, help_text="Leave empty to stay unnamed."
    )
    public_pages = models.BooleanField(
        "Show a public page to strangers who scan a label",
        default=True,
        help_text="It shows the line of descent with dates. Never a contact, a price, an address or a position.",
    )
    length_unit = models.CharField(max_length=4, choices=LengthUnit, default=LengthUnit.MILLIMETRE)
    base_address = models.CharField(
        "Address printed in the codes",
        max_length=120,
        blank=True,
        help_text="For example https://reef.example — what a phone opens when it scans a label. "
        "Short addresses make larger dots. Empty: the address this page was opened at.",
    )
    rest_days = models.PositiveSmallIntegerField(
        "Days a mother rests after a cut", default=42, validators=[MaxValueValidator(730)]
    )
    check_days = models.PositiveSmallIntegerField(
        "Days between healing checks", default=7, validators=[MinValueValidator(1), MaxValueValidator(90)]
    )
    measure_days = models.PositiveSmallIntegerField(
        "Days after which a colony wants measuring again",
        default=31,
        validators=[MinValueValidator(1), MaxValueValidator(730)],
    )
    # Who hands over, for receipts and what goes with them. Nothing of it stands anywhere else that others can see.
    paper_name = models.CharField(
        "Name on papers",
        max_length=120,
        blank=True,
        help_text="On every paper. Empty: the name shown on public pages stands in for it.",
    )
    postal_address = models.CharField(
        "Postal address",
        max_length=300,
        blank=True,
        help_text="In as many lines as it has. On receipts and packing lists.",
    )
    paper_reach = models.CharField(
        "How you can be reached",
        max_length=160,
        blank=True,
        help_text="A telephone number or an e-mail address. On receipts and packing lists.",
    )
    tax_number = models.CharField(
        "Tax or registration number",
        max_length=120,
        blank=True,
        help_text="With the word that stands before it, as it is to be read. On receipts alone.",
    )
    receipt_closing = models.CharField(
        "Last line of receipts",
        max_length=300,
        blank=True,
        help_text="In your own words, for example how it is with VAT. Ramet gives no tax advice.",
    )

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="one_row_of_preferences")]

    def __str__(self):
        return "Preferences"

    @classmethod
    def current(cls) -> "Preferences":
        """The one row; costs a query, so ask once per request (the context processor does)."""
        return cls.objects.filter(pk=1).first() or cls(pk=1)

    @property
    def name_on_papers(self) -> str:
        return self.paper_name or self.display_name
