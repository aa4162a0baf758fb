from django.conf import settings
from django.db import models
from django.db.models import F, Q
from simple_history.models import HistoricalRecords

from propagation import codes
from propagation.dates import day_in_words
from propagation.models.terms import Fate, HealingStage, LossReason

# What an index for ready plugs holds; `ready_on` asks for it in the same words.
READY = Q(fate=Fate.KEPT, stage=HealingStage.HEALED, is_insurance=False)


class PlugQuerySet(models.QuerySet):
    def kept(self):
        return self.filter(fate=Fate.KEPT)

    def healing(self):
        """Kept plugs that are not yet healed."""
        return self.kept().exclude(stage=HealingStage.HEALED)

    def ready_on(self, day):
        """Plugs fit to leave on a day: kept, healed by then, and not set aside as insurance."""
        return self.filter(fate=Fate.KEPT, stage=HealingStage.HEALED, is_insurance=False, healed_on__lte=day)

    def insurance(self):
        return self.kept().filter(is_insurance=True)

    def unlabelled(self):
        """Kept plugs that have no printed label yet."""
        return self.kept().filter(labelled_at=None)

    def due_for_check(self, day):
        """Kept, not healed, and last looked at on this day or before."""
        return self.healing().filter(checked_on__lte=day)


class Plug(models.Model):
    """A frag on its mount, with its own code for life.

    It has one origin, a cut event or an acquisition, and the lineage of that origin (guards.py holds the two together).
    """

    code = models.CharField(max_length=8, unique=True, editable=False)
    lineage = models.ForeignKey("propagation.Lineage", on_delete=models.PROTECT, related_name="plugs")
    cut_event = models.ForeignKey(
        "propagation.CutEvent", on_delete=models.PROTECT, null=True, blank=True, related_name="plugs"
    )
    acquisition = models.ForeignKey(
        "propagation.Acquisition", on_delete=models.PROTECT, null=True, blank=True, related_name="plugs"
    )
    began_on = models.DateField(help_text="The day it was cut, or came.")
    size_mm = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)

    stage = models.CharField(max_length=10, choices=HealingStage, default=HealingStage.FRESH)
    checked_on = models.DateField(help_text="The day it was last looked at.")
    healed_on = models.DateField(null=True, blank=True, help_text="The day it was first seen healed.")

    fate = models.CharField(max_length=8, choices=Fate, default=Fate.KEPT)
    ended_on = models.DateField(null=True, blank=True)
    loss_reason = models.CharField(max_length=12, choices=LossReason, blank=True)
    is_insurance = models.BooleanField("Set aside as insurance", default=False)

    rack = models.ForeignKey("propagation.Spot", on_delete=models.PROTECT, null=True, blank=True, related_name="plugs")
    rack_row = models.PositiveSmallIntegerField(null=True, blank=True)
    rack_column = models.PositiveSmallIntegerField(null=True, blank=True)

    labelled_at = models.DateTimeField(null=True, blank=True, editable=False)
    note = models.CharField(max_length=500, blank=True)

    history = HistoricalRecords()
    objects = PlugQuerySet.as_manager()

    class Meta:
        ordering = ["-began_on", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(cut_event__isnull=False, acquisition=None) | Q(cut_event=None, acquisition__isnull=False),
                name="plug_has_one_origin",
            ),
            models.CheckConstraint(
                condition=Q(fate=Fate.KEPT, ended_on=None)
                | (~Q(fate=Fate.KEPT) & Q(ended_on__isnull=False) & Q(ended_on__gte=F("began_on"))),
                name="plug_that_left_has_a_day",
            ),
            models.CheckConstraint(
                condition=Q(loss_reason="") | Q(fate=Fate.DEAD), name="only_a_dead_plug_has_a_loss_reason"
            ),
            models.CheckConstraint(
                condition=Q(stage=HealingStage.HEALED, healed_on__isnull=False, healed_on__gte=F("began_on"))
                | (~Q(stage=HealingStage.HEALED) & Q(healed_on=None)),
                name="healed_plug_has_a_day",
            ),
            models.CheckConstraint(condition=Q(size_mm=None) | Q(size_mm__gt=0), name="plug_size_positive"),
            models.CheckConstraint(
                condition=Q(rack_row=None, rack_column=None)
                | Q(
                    rack__isnull=False,
                    rack_row__isnull=False,
                    rack_column__isnull=False,
                    rack_row__gte=1,
                    rack_column__gte=1,
                ),
                name="cell_is_on_a_rack",
            ),
            models.UniqueConstraint(
                fields=["rack", "rack_row", "rack_column"],
                condition=Q(fate=Fate.KEPT, rack_row__isnull=False),
                name="one_kept_plug_per_cell",
            ),
        ]
        indexes = [
            # Serves the ready list, oldest first.
            models.Index(
                fields=["healed_on", "id"],
                condition=READY,
                name="ready_plugs",
            ),
            models.Index(
                fields=["lineage", "healed_on"],
                condition=READY,
                name="ready_plugs_of_lineage",
            ),
            # Serve the ready list sorted by code, age and size: one page is read off the index, whatever there is.
            models.Index(fields=["code"], condition=READY, name="ready_plugs_by_code"),
            models.Index(fields=["began_on", "id"], condition=READY, name="ready_plugs_by_age"),
            models.Index(fields=["size_mm", "id"], condition=READY, name="ready_plugs_by_size"),
            # Serves the labels still to print and the checks that are due.
            models.Index(fields=["began_on"], condition=Q(fate=Fate.KEPT, labelled_at=None), name="unlabelled_plugs"),
            models.Index(
                fields=["checked_on"],
                condition=Q(fate=Fate.KEPT) & ~Q(stage=HealingStage.HEALED),
                name="healing_plugs",
            ),
        ]

    def __str__(self):
        return self.code_in_clear

    @property
    def code_in_clear(self) -> str:
        return codes.in_clear(self.code)

    @property
    def is_kept(self) -> bool:
        return self.fate == Fate.KEPT

    def is_ready(self, day) -> bool:
        """Is it fit to leave on this day? Says nothing of promises; those stand on the inventory floor."""
        return (
            self.is_kept
            and self.stage == HealingStage.HEALED
            and not self.is_insurance
            and self.healed_on is not None
            and self.healed_on <= day
        )

    def age_days(self, day) -> int:
        return (day - self.began_on).days


class HealingCheckQuerySet(models.QuerySet):
    def standing(self):
        """Checks that hold: those that were not taken back."""
        return self.filter(withdrawn_at=None)


class HealingCheck(models.Model):
    """The healing stage of a plug seen on a day, or that it was found dead.

    One that was entered by mistake is taken back, not deleted: it stays with who did it and when.
    """

    plug = models.ForeignKey(Plug, on_delete=models.PROTECT, related_name="healing_checks")
    checked_on = models.DateField()
    stage = models.CharField(max_length=10, choices=HealingStage)
    found_dead = models.BooleanField(default=False)
    note = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField(auto_now_add=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    # The checks of one tap share it, so that they can be taken back together.
    act = models.UUIDField(null=True, blank=True, db_index=True, editable=False)
    withdrawn_at = models.DateTimeField(null=True, blank=True, editable=False)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+", editable=False
    )

    objects = HealingCheckQuerySet.as_manager()

    class Meta:
        ordering = ["-checked_on", "-id"]

    def __str__(self):
        return f"{self.plug} {'dead' if self.found_dead else self.stage} on {day_in_words(self.checked_on)}"
