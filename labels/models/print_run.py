from django.conf import settings
from django.db import models
from django.db.models import Q


class PrintRun(models.Model):
    """Which labels were printed, when, on what."""

    stock = models.ForeignKey("labels.LabelStock", on_delete=models.PROTECT, related_name="print_runs")
    printed_at = models.DateTimeField(auto_now_add=True)
    printed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    dpi = models.PositiveSmallIntegerField(default=300)
    start = models.PositiveSmallIntegerField("First position used", default=1)
    base_address = models.CharField(max_length=120)

    class Meta:
        ordering = ["-printed_at", "-id"]

    def __str__(self):
        return f"Print run of {self.printed_at:%Y-%m-%d %H:%M}"


class PrintedLabel(models.Model):
    """One label of a print run; a second row for the same plug is a reprint."""

    print_run = models.ForeignKey(PrintRun, on_delete=models.PROTECT, related_name="labels")
    plug = models.ForeignKey(
        "propagation.Plug", on_delete=models.PROTECT, null=True, blank=True, related_name="printed_labels"
    )
    colony = models.ForeignKey(
        "propagation.Colony", on_delete=models.PROTECT, null=True, blank=True, related_name="printed_labels"
    )
    is_reprint = models.BooleanField(default=False)
    # What stood on it, so that a label made stale by a correction can be found.
    printed_text = models.CharField(max_length=300)
    module_mm = models.FloatField(help_text="Side of one module of its QR code; the label is a ruler.")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(plug__isnull=False, colony=None) | Q(plug=None, colony__isnull=False),
                name="label_is_of_a_plug_or_a_colony",
            )
        ]

    def __str__(self):
        return self.printed_text
