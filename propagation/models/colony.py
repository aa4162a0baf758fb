from datetime import timedelta

from django.db import models
from django.db.models import F, OuterRef, Q, Subquery, Value
from django.db.models.functions import Coalesce, Upper
from simple_history.models import HistoricalRecords

from propagation import codes
from propagation.dates import day_in_words
from propagation.models.terms import EndReason


class ColonyQuerySet(models.QuerySet):
    def alive(self):
        return self.filter(ended_on=None)

    def alive_on(self, day):
        return self.filter(Q(ended_on=None) | Q(ended_on__gte=day), began_on__lte=day)

    def with_rest(self, day, *, leave_out_session=None):
        """Annotates ``last_cut_on``, the last day on which it was cut up to a day, and ``rest_days``, its line's or
        the preferences'; ``Colony.rested_on`` is made of the two.

        ``leave_out_session`` is a session being corrected: its own cuts make nobody rest.
        """
        from propagation.models.cutting import CutEvent
        from propagation.models.preferences import Preferences

        cuts = CutEvent.objects.filter(mother=OuterRef("pk"), frags__gt=0, session__cut_on__lte=day)
        if leave_out_session is not None:
            cuts = cuts.exclude(session=leave_out_session)
        usual = Preferences._meta.get_field("rest_days").default
        return self.annotate(
            last_cut_on=Subquery(cuts.order_by("-session__cut_on").values("session__cut_on")[:1]),
            rest_days=Coalesce(
                F("lineage__rest_days"), Subquery(Preferences.objects.values("rest_days")[:1]), Value(usual)
            ),
        )

    def matching(self, text):
        """Colonies whose tag, code or lineage name holds the text, as a keeper types it."""
        words = Q(tag__icontains=text) | Q(lineage__name__icontains=text) | Q(lineage__sold_as__icontains=text)
        bare = codes.strip_code(text)
        return self.filter(words | Q(code=bare)) if bare else self.filter(words)


class Colony(models.Model):
    """One living individual that is kept; a mother is a colony that frags are cut from.

    It has one origin: a plug grown on, or an acquisition.
    """

    tag = models.CharField(max_length=24, help_text="What is written on its tag in the tank.")
    code = models.CharField(max_length=8, unique=True, editable=False)
    lineage = models.ForeignKey("propagation.Lineage", on_delete=models.PROTECT, related_name="colonies")
    grown_from = models.OneToOneField(
        "propagation.Plug", on_delete=models.PROTECT, null=True, blank=True, related_name="colony"
    )
    acquisition = models.ForeignKey(
        "propagation.Acquisition", on_delete=models.PROTECT, null=True, blank=True, related_name="colonies"
    )
    began_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    end_reason = models.CharField(max_length=8, choices=EndReason, blank=True)
    note = models.TextField(blank=True)
    labelled_at = models.DateTimeField(null=True, blank=True, editable=False)

    history = HistoricalRecords()
    objects = ColonyQuerySet.as_manager()

    class Meta:
        ordering = ["tag"]
        verbose_name_plural = "colonies"
        constraints = [
            models.UniqueConstraint(
                Upper("tag"),
                name="one_colony_per_tag",
                violation_error_message="Another colony has or had this tag; tags are never used twice.",
            ),
            models.CheckConstraint(
                condition=Q(grown_from__isnull=False, acquisition=None) | Q(grown_from=None, acquisition__isnull=False),
                name="colony_has_one_origin",
            ),
            models.CheckConstraint(
                condition=Q(ended_on=None, end_reason="")
                | (Q(ended_on__isnull=False, ended_on__gte=F("began_on")) & ~Q(end_reason="")),
                name="colony_end_has_a_reason_and_comes_last",
            ),
        ]

    def __str__(self):
        return self.tag

    @property
    def code_in_clear(self) -> str:
        return codes.in_clear(self.code)

    @property
    def is_alive(self) -> bool:
        return self.ended_on is None

    @property
    def rested_on(self):
        """The day on which it has rested from its last cut, None if it was never cut. Only after ``with_rest``."""
        return None if self.last_cut_on is None else self.last_cut_on + timedelta(days=self.rest_days)


class PlacementQuerySet(models.QuerySet):
    def current(self):
        return self.filter(until=None)


class Placement(models.Model):
    """A colony at a spot from a day until the day it left; moving it ends one placement and starts another."""

    colony = models.ForeignKey(Colony, on_delete=models.PROTECT, related_name="placements")
    spot = models.ForeignKey("propagation.Spot", on_delete=models.PROTECT, related_name="placements")
    since = models.DateField()
    until = models.DateField(null=True, blank=True)

    history = HistoricalRecords()
    objects = PlacementQuerySet.as_manager()

    class Meta:
        ordering = ["-since", "-id"]
        constraints = [
            # Overlaps in the past are refused by a trigger in guards.py; this one needs no trigger.
            models.UniqueConstraint(fields=["colony"], condition=Q(until=None), name="one_current_spot_per_colony"),
            models.CheckConstraint(
                condition=Q(until=None) | Q(until__gte=F("since")), name="placement_ends_after_it_starts"
            ),
        ]

    def __str__(self):
        return f"{self.colony} at {self.spot} since {day_in_words(self.since)}"
