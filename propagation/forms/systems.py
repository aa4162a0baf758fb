from django import forms

from propagation.actions.end_system import WhereTo
from propagation.actions.restart_system import SpotInTheNewBuild, Survivor
from propagation.forms.fields import DayField, NameIsForTheAct, based_on_field
from propagation.models import EndReason, Spot, System

NEW_SPOTS = 3  # rows for spots that the old build did not have; more are added on the new system's page
NOWHERE = "nowhere"


class SystemForm(NameIsForTheAct, forms.ModelForm):
    started_on = DayField(label="Began on")
    based_on = based_on_field()

    class Meta:
        model = System
        fields = ["name", "started_on", "note"]
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}
        error_messages = {"name": {"required": "Give the system a name."}}


class SpotForm(NameIsForTheAct, forms.ModelForm):
    based_on = based_on_field()

    class Meta:
        model = Spot
        fields = ["name", "par", "x_cm", "y_cm", "rack_rows", "rack_columns"]
        error_messages = {"name": {"required": "Give the spot a name."}}


def _end_choices():
    return [(f"end:{reason.value}", reason.label) for reason in EndReason]


class SystemEndForm(forms.Form):
    """The end of a system, and what becomes of each colony that stands in it."""

    day = DayField(label="Ended on")

    def __init__(self, *args, placements, **kwargs):
        super().__init__(*args, **kwargs)
        self.placements = list(placements)
        spots = Spot.objects.in_running_systems().select_related("system")
        if self.placements:
            spots = spots.exclude(system=self.placements[0].spot.system_id)
        self.spots = {str(spot.pk): spot for spot in spots}
        for placement in self.placements:
            self.fields[f"colony_{placement.colony_id}"] = forms.ChoiceField(
                label=f"{placement.colony.tag}, {placement.colony.lineage} (at {placement.spot.name})",
                choices=[
                    (NOWHERE, "Kept, without a spot for now"),
                    ("Moves to", [(key, str(spot)) for key, spot in self.spots.items()]),
                    ("Is no longer kept", _end_choices()),
                ],
                initial=NOWHERE,
            )

    def where_to(self) -> list[WhereTo]:
        return [
            WhereTo(
                placement.colony,
                spot=self.spots.get(self.cleaned_data[f"colony_{placement.colony_id}"]),
                end_reason=_reason(self.cleaned_data[f"colony_{placement.colony_id}"]),
            )
            for placement in self.placements
        ]


def _reason(choice: str) -> str:
    return choice.removeprefix("end:") if choice.startswith("end:") else ""


class RestartForm(forms.Form):
    """A restart on one page: the days, the spots of the new build, and where each colony goes."""

    name = forms.CharField(label="Name of the new build", max_length=120)
    ended_on = DayField(label="The old build ended on")
    started_on = DayField(label="The new build began on")
    note = forms.CharField(widget=forms.Textarea(attrs={"rows": 2}), required=False)

    def __init__(self, *args, system, spots, placements, **kwargs):
        super().__init__(*args, **kwargs)
        self.spots = list(spots)
        self.placements = list(placements)
        if system.ended_on is not None:
            self.fields["ended_on"].initial = system.ended_on
            self.fields["ended_on"].disabled = True
        rows = [(f"spot_{spot.pk}", spot.name) for spot in self.spots]
        for spot in self.spots:
            key = f"spot_{spot.pk}"
            self.fields[f"{key}_kept"] = forms.BooleanField(
                label=f"Take over {spot.name}{' (rack)' if spot.is_rack else ''}", required=False, initial=True
            )
            self._spot_fields(key, spot.name, spot.par)
        for number in range(1, NEW_SPOTS + 1):
            key = f"new_{number}"
            self._spot_fields(key, "", None)
            rows.append((key, f"the new spot {number} below"))
        for placement in self.placements:
            self.fields[f"colony_{placement.colony_id}"] = forms.ChoiceField(
                label=f"{placement.colony.tag}, {placement.colony.lineage}",
                choices=[
                    ("Moves over to", rows),
                    (NOWHERE, "Kept, without a spot for now"),
                    ("Is no longer kept", _end_choices()),
                ],
                initial=f"spot_{placement.spot_id}",
            )

    def _spot_fields(self, key, name, par):
        self.fields[f"{key}_name"] = forms.CharField(label="Name", max_length=80, required=False, initial=name)
        self.fields[f"{key}_par"] = forms.IntegerField(
            label="PAR", min_value=0, max_value=2500, required=False, initial=par
        )

    def old_spot_rows(self):
        """The fields of each old spot: ``(spot, taken over?, name, light)``."""
        return [
            (spot, self[f"spot_{spot.pk}_kept"], self[f"spot_{spot.pk}_name"], self[f"spot_{spot.pk}_par"])
            for spot in self.spots
        ]

    def new_spot_rows(self):
        return [(self[f"new_{number}_name"], self[f"new_{number}_par"]) for number in range(1, NEW_SPOTS + 1)]

    def colony_fields(self):
        return [self[f"colony_{placement.colony_id}"] for placement in self.placements]

    def clean(self):
        told = super().clean()
        self.new_spots, self.numbers = [], {}
        for spot in self.spots:
            key = f"spot_{spot.pk}"
            if told.get(f"{key}_kept"):
                self.numbers[key] = len(self.new_spots)
                name = told.get(f"{key}_name") or spot.name
                self.new_spots.append(SpotInTheNewBuild(name, like=spot, par=told.get(f"{key}_par")))
        for number in range(1, NEW_SPOTS + 1):
            key = f"new_{number}"
            if told.get(f"{key}_name"):
                self.numbers[key] = len(self.new_spots)
                self.new_spots.append(SpotInTheNewBuild(told[f"{key}_name"], par=told.get(f"{key}_par")))
        for placement in self.placements:
            field = f"colony_{placement.colony_id}"
            choice = told.get(field)
            if choice and choice != NOWHERE and not choice.startswith("end:") and choice not in self.numbers:
                self.add_error(
                    field, "This spot is not in the new build. Take it over or name it above, or choose another."
                )
        return told

    def survivors(self) -> list[Survivor]:
        """Where each colony goes; call after ``is_valid``."""
        found = []
        for placement in self.placements:
            choice = self.cleaned_data[f"colony_{placement.colony_id}"]
            found.append(Survivor(placement.colony, self.numbers.get(choice), _reason(choice)))
        return found
