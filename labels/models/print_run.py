from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q, Value
from django.db.models.functions import Coalesce
from django.utils.formats import date_format
from django.utils.timezone import localtime

from propagation.models import Fate


class PrintRun(models.Model):
    """Which labels were printed, when, on what."""

    stock = models.ForeignKey("labels.LabelStock", on_delete=models.PROTECT, related_name="print_runs")
    printed_at = models.DateTimeField(auto_now_add=True)
    printed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    dpi = models.PositiveSmallIntegerField(default=300)
    start = models.PositiveSmallIntegerField("First position used", default=1)
    with_outline = models.BooleanField(default=False)
    base_address = models.CharField(max_length=120)
    # Set when the page is opened: the same form sent twice is one run.
    submission = models.UUIDField(unique=True, editable=False)

    class Meta:
        ordering = ["-printed_at", "-id"]

    def __str__(self):
        return f"Print run of {date_format(localtime(self.printed_at), 'DATETIME_FORMAT')}"


class PrintedLabelQuerySet(models.QuerySet):
    def latest(self):
        """The last label printed of each plug."""
        later = PrintedLabel.objects.filter(plug=OuterRef("plug"), pk__gt=OuterRef("pk"))
        return self.filter(plug__isnull=False).filter(~Exists(later))

    def stale(self):
        """Last labels of kept plugs that no longer say what the records say: a correction came after the print."""
        return (
            self.latest()
            .filter(plug__fate=Fate.KEPT)
            .exclude(
                lineage_name=F("plug__lineage__name"),
                cut_on=F("plug__began_on"),
                mother_tag=Coalesce("plug__cut_event__mother__tag", Value("")),
            )
        )


class PrintedLabel(models.Model):
    """One label of a print run, with what stood on it; a second row for the same plug is a reprint."""

    print_run = models.ForeignKey(PrintRun, on_delete=models.PROTECT, related_name="labels")
    plug = models.ForeignKey(
        "propagation.Plug", on_delete=models.PROTECT, null=True, blank=True, related_name="printed_labels"
    )
    colony = models.ForeignKey(
        "propagation.Colony", on_delete=models.PROTECT, null=True, blank=True, related_name="printed_labels"
    )
    is_reprint = models.BooleanField(default=False)
    lineage_name = models.CharField(max_length=120)
    cut_on = models.DateField(null=True, blank=True)
    mother_tag = models.CharField(max_length=24, blank=True)
    module_mm = models.FloatField(help_text="Side of one module of its QR code; the label is a ruler.")

    objects = PrintedLabelQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(plug__isnull=False, colony=None) | Q(plug=None, colony__isnull=False),
                name="label_is_of_a_plug_or_a_colony",
            )
        ]

    def __str__(self):
        return f"Label of {self.plug or self.colony}"
