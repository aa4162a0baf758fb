from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from simple_history.models import HistoricalRecords


class SystemQuerySet(models.QuerySet):
    def running(self):
        return self.filter(ended_on=None)


class System(models.Model):
    """One aquarium build, from start to end; a restart is a new system that succeeds the old one."""

    name = models.CharField(max_length=120)
    started_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    succeeds = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="succeeded_by", verbose_name="Restart of"
    )
    note = models.TextField(blank=True)

    history = HistoricalRecords()
    objects = SystemQuerySet.as_manager()

    class Meta:
        ordering = ["-started_on", "-id"]
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                name="one_system_per_name",
                violation_error_message="There is a system of this name already.",
            ),
            models.CheckConstraint(
                condition=Q(ended_on=None) | Q(ended_on__gte=F("started_on")), name="system_ends_after_it_starts"
            ),
            models.CheckConstraint(condition=~Q(succeeds=F("id")), name="system_does_not_succeed_itself"),
        ]

    def __str__(self):
        return self.name


class SpotQuerySet(models.QuerySet):
    def in_running_systems(self):
        return self.filter(system__ended_on=None)

    def racks(self):
        return self.filter(rack_rows__isnull=False)


class Spot(models.Model):
    """A named place in a system with plan coordinates and light; one with rows and columns is a rack for plugs."""

    system = models.ForeignKey(System, on_delete=models.PROTECT, related_name="spots")
    name = models.CharField(max_length=80)
    x_cm = models.DecimalField("From the left (cm)", max_digits=6, decimal_places=1, null=True, blank=True)
    y_cm = models.DecimalField("From the front (cm)", max_digits=6, decimal_places=1, null=True, blank=True)
    par = models.PositiveSmallIntegerField(
        "Light (PAR, µmol m⁻² s⁻¹)", null=True, blank=True, validators=[MaxValueValidator(2500)]
    )
    rack_rows = models.PositiveSmallIntegerField(
        "Rows, if it is a rack", null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(40)]
    )
    rack_columns = models.PositiveSmallIntegerField(
        "Columns, if it is a rack", null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(40)]
    )

    history = HistoricalRecords()
    objects = SpotQuerySet.as_manager()

    class Meta:
        ordering = ["system", "name"]
        constraints = [
            models.UniqueConstraint(
                "system",
                Lower("name"),
                name="one_spot_per_name_in_a_system",
                violation_error_message="This system has a spot of this name already.",
            ),
            models.CheckConstraint(
                condition=Q(rack_rows=None, rack_columns=None)
                | Q(
                    rack_rows__isnull=False,
                    rack_columns__isnull=False,
                    rack_rows__range=(1, 40),
                    rack_columns__range=(1, 40),
                ),
                name="rack_has_rows_and_columns",
                violation_error_message="A rack needs both its rows and its columns.",
            ),
        ]

    def __str__(self):
        return f"{self.name}, {self.system}"

    @property
    def is_rack(self) -> bool:
        return self.rack_rows is not None
