from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from simple_history.models import HistoricalRecords

from propagation.dates import day_in_words
from propagation.models.terms import CutTool, Measure

MOST_FRAGS_AT_A_CUT = 200  # a bound against a slip of the thumb; common practice, no source


class CuttingSession(models.Model):
    """One sitting at the bench, saved whole or not at all."""

    cut_on = models.DateField()
    note = models.TextField(blank=True)
    # Set when the page is opened: the same form sent twice finds the session that the first one made.
    submission = models.UUIDField(unique=True, editable=False)
    saved_at = models.DateTimeField(auto_now_add=True)
    saved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    version = models.PositiveIntegerField(default=1, editable=False)  # counts corrections: two at once are told apart

    history = HistoricalRecords()

    class Meta:
        ordering = ["-cut_on", "-id"]

    def __str__(self):
        return f"Session of {day_in_words(self.cut_on)}"


class CutEvent(models.Model):
    """One mother cut in a session."""

    session = models.ForeignKey(CuttingSession, on_delete=models.PROTECT, related_name="cut_events")
    mother = models.ForeignKey("propagation.Colony", on_delete=models.PROTECT, related_name="cut_events")
    frags = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(MOST_FRAGS_AT_A_CUT)])
    frag_size_mm = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    cut_with = models.CharField(max_length=12, choices=CutTool, blank=True)  # empty: not noted
    measure = models.CharField(max_length=11, choices=Measure, blank=True)
    size_before = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    size_after = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    reason = models.CharField(
        "Cut all the same because", max_length=200, blank=True, help_text="Why a mother that should rest was cut."
    )
    note = models.CharField(max_length=500, blank=True)

    history = HistoricalRecords()

    class Meta:
        ordering = ["session", "id"]
        constraints = [
            # No frags left is a cut that was taken back when the session was corrected.
            models.UniqueConstraint(
                fields=["session", "mother"], condition=Q(frags__gt=0), name="one_cut_per_mother_in_a_session"
            ),
            models.CheckConstraint(
                condition=Q(frags__range=(0, MOST_FRAGS_AT_A_CUT)), name="cut_takes_a_sensible_number_of_frags"
            ),
            models.CheckConstraint(
                condition=Q(frag_size_mm=None) | Q(frag_size_mm__gt=0), name="cut_frag_size_positive"
            ),
            models.CheckConstraint(
                condition=(Q(size_before=None) | Q(size_before__gt=0)) & (Q(size_after=None) | Q(size_after__gte=0)),
                name="cut_sizes_positive",
            ),
            models.CheckConstraint(
                condition=Q(size_before=None) | Q(size_after=None) | Q(size_after__lte=F("size_before")),
                name="cut_leaves_no_more_than_there_was",
            ),
            models.CheckConstraint(
                condition=Q(size_before=None, size_after=None) | ~Q(measure=""), name="cut_sizes_have_a_measure"
            ),
        ]

    def __str__(self):
        return f"{self.frags} frags from {self.mother}"
