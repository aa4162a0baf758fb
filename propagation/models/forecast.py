"""What the yield model learned, what it says of each mother now, what it said before, and how that came out.

All of it can be computed again from the records, but for `Forecast` and `ForecastScore`: what was said stays said.
"""

from django.db import models
from django.db.models import F, Q
from django.utils.timezone import localdate

from propagation.dates import day_in_words
from propagation.models.terms import GrowthForm, Measure


class LearnedGrowth(models.Model):
    """A growth model learned from the collection on a day, for one measure and growth form; the latest one is used."""

    measure = models.CharField(max_length=11, choices=Measure)
    growth_form = models.CharField(max_length=10, choices=GrowthForm)
    learned_on = models.DateField()  # records up to this day took part
    learned_at = models.DateTimeField(auto_now_add=True)
    colonies = models.PositiveIntegerField(default=0)
    readings = models.PositiveIntegerField(default=0)
    lag_days = models.FloatField()
    model = models.JSONField()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["measure", "growth_form", "-id"], name="learned_growth_latest")]

    def __str__(self):
        what = f"{self.get_growth_form_display()} by {self.get_measure_display()}"
        return f"{what}, learned on {day_in_words(self.learned_on)}"


class LearnedHealing(models.Model):
    """The healing model learned from the plugs of the collection on a day; the latest one is used."""

    learned_on = models.DateField()
    learned_at = models.DateTimeField(auto_now_add=True)
    plugs = models.PositiveIntegerField(default=0)
    model = models.JSONField()

    class Meta:
        ordering = ["-id"]

    def __str__(self):
        return f"Healing, learned on {day_in_words(self.learned_on)}"


class Binding(models.TextChoices):
    """What stands between a mother and her next cut."""

    NOTHING = "nothing", "Nothing"
    SIZE = "size", "Size"
    REST = "rest", "Rest"
    HEALTH = "health", "Health"
    WATER = "water", "Water"
    ABSENCE = "absence", "Absence"
    INSURANCE = "insurance", "Insurance"
    ROOM = "room", "Room"


class ColonyOutlook(models.Model):
    """What the yield model says of one living colony on a day: where it stands, and its next cut.

    ``state`` holds the numbers a forecast of its size is drawn from. Sizes are in the unit of ``measure``.
    """

    colony = models.OneToOneField(
        "propagation.Colony", on_delete=models.CASCADE, primary_key=True, related_name="outlook"
    )
    for_day = models.DateField()
    growth = models.ForeignKey(LearnedGrowth, on_delete=models.CASCADE, related_name="outlooks")
    measure = models.CharField(max_length=11, choices=Measure)
    readings = models.PositiveIntegerField()
    seen_on = models.DateField()  # the last day on which anything was known of its size
    size = models.FloatField()  # on ``for_day``, at even odds
    size_low = models.FloatField()
    size_high = models.FloatField()
    size_needed = models.FloatField()
    growth_a_month = models.FloatField(null=True)  # share of its present size it gains in 30 days; None while it ails
    state = models.JSONField()
    absurd = models.JSONField(default=list)  # readings that were set aside: {"day", "size", "reason"}

    day = models.DateField(null=True, db_index=True)
    earliest = models.DateField(null=True)
    latest = models.DateField(null=True)
    size_day = models.DateField(null=True)
    frags_low = models.PositiveSmallIntegerField()
    frags = models.PositiveSmallIntegerField()
    frags_high = models.PositiveSmallIntegerField()
    frags_mean = models.FloatField()
    usable = models.FloatField()
    for_insurance = models.PositiveSmallIntegerField()
    probability_today = models.FloatField()
    binds = models.CharField(max_length=9, choices=Binding)
    because = models.JSONField(default=list)

    def __str__(self):
        return f"Outlook of {self.colony}"


class ForecastMark(models.Model):
    """A note, written by triggers, that records changed which an outlook rests on: of one colony or, with none, of all.

    Whoever brings the outlooks up to date takes away the marks it saw.
    """

    colony = models.BigIntegerField(null=True)

    def __str__(self):
        return f"Mark of colony {self.colony}" if self.colony else "Mark of all colonies"


class Forecast(models.Model):
    """What was said of a colony's size from one reading on. Never changed: its error is known when later readings come.

    ``replayed`` says that it was made afterwards, from the records as they stood up to ``made_for``.
    """

    colony = models.ForeignKey("propagation.Colony", on_delete=models.CASCADE, related_name="forecasts")
    growth = models.ForeignKey(LearnedGrowth, on_delete=models.PROTECT, related_name="forecasts")
    measure = models.CharField(max_length=11, choices=Measure)
    made_for = models.DateField()  # the day of the reading or cut it was made from
    made_at = models.DateTimeField(auto_now_add=True)
    replayed = models.BooleanField(default=False)
    readings = models.PositiveIntegerField()
    last_size = models.FloatField(null=True)  # "no growth" says this
    last_rate = models.FloatField(null=True)  # size a day between the last two readings; "last rate goes on" uses it
    state = models.JSONField()

    class Meta:
        ordering = ["-made_for", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["colony", "measure", "made_for"], name="one_forecast_per_colony_measure_and_day"
            )
        ]

    def __str__(self):
        return f"Forecast of {self.colony} from {day_in_words(self.made_for)}"


class ForecastScore(models.Model):
    """How a forecast came out at a later reading, ``steps`` readings ahead. Sizes in the unit of the measure."""

    forecast = models.ForeignKey(Forecast, on_delete=models.CASCADE, related_name="scores")
    reading = models.ForeignKey("propagation.SizeReading", on_delete=models.CASCADE, related_name="+")
    steps = models.PositiveSmallIntegerField()
    taken_on = models.DateField()
    outcome = models.FloatField()
    median = models.FloatField()
    rank = models.FloatField()  # share of the forecast below the outcome; uniform when forecasts are calibrated
    crps = models.FloatField()

    class Meta:
        ordering = ["taken_on", "id"]
        constraints = [
            models.UniqueConstraint(fields=["forecast", "steps"], name="one_score_per_forecast_and_step"),
            models.CheckConstraint(condition=Q(rank__range=(0, 1)), name="score_rank_is_a_share"),
        ]

    def __str__(self):
        return f"{self.forecast}, {self.steps} ahead"


class BacktestRun(models.Model):
    """The method tried on the keeper's own past readings: when, on what, and the figures. The latest one is shown."""

    asked_at = models.DateTimeField(auto_now_add=True)
    finished_at = models.DateTimeField(null=True)
    figures = models.JSONField(default=dict)
    problem = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(finished_at=None) | Q(finished_at__gte=F("asked_at")), name="backtest_ends_after_it_began"
            )
        ]

    def __str__(self):
        return f"Backtest of {day_in_words(localdate(self.asked_at))}"
