"""The cutting form: one sitting with a small form for each mother; and the form that corrects one."""

from dataclasses import replace
from decimal import Decimal
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import cached_property

from propagation.actions.correct_cutting import CutCorrection, as_recorded
from propagation.actions.record_cutting import MotherCut
from propagation.errors import RametError
from propagation.forms.fields import DayField, KeepsUntouchedLengths, LengthField
from propagation.lengths import measure_name, plain, unit_of
from propagation.models import Colony, CutEvent, CutTool, Fate, Measure, Spot
from propagation.models.cutting import MOST_FRAGS_AT_A_CUT
from propagation.readings.find import find_colony
from propagation.readings.mothers import bench_mothers, find_mother, mothers_to_offer

WRONG_NUMBER = {
    "invalid": "This is no number. Write it as 25.5.",
    "max_digits": "A size of so many digits cannot be right.",
    "max_whole_digits": "A size of so many digits cannot be right.",
}
NOT_NOTED = "none"  # of one mother, while the others of the sitting have a tool
# How the columns of a sitting are called in these forms.
FIELD_OF = {"size_mm": "size", "mother": "tag"}


def _size_field(label):
    return forms.DecimalField(
        label=label,
        required=False,
        error_messages=WRONG_NUMBER,
        max_digits=12,
        widget=forms.NumberInput(attrs={"step": "any", "min": "0"}),
    )


class CutFields(KeepsUntouchedLengths, forms.Form):
    """What is entered for one mother. Sizes are typed in the keeper's unit."""

    frags = forms.IntegerField(
        error_messages={"required": "Give the number of frags.", "invalid": "Frags are counted whole, like 8."},
        widget=forms.NumberInput(attrs={"min": 1, "max": MOST_FRAGS_AT_A_CUT, "autocomplete": "off"}),
    )
    size = LengthField(label="Frag size", required=False, error_messages=WRONG_NUMBER, max_digits=12)
    measure = forms.ChoiceField(label="Mother measured by", required=False)
    before = _size_field("Before")
    after = _size_field("After")
    cut_with = forms.ChoiceField(choices=[("", "Not noted"), *CutTool.choices], required=False)
    reason = forms.CharField(label="Cut it all the same because", required=False)
    note = forms.CharField(required=False)

    def __init__(self, *args, length_unit, **kwargs):
        super().__init__(*args, **kwargs)
        self.length_unit = length_unit
        self.use_unit(length_unit)
        self.fields["measure"].choices = [(each.value, measure_name(each, length_unit)) for each in Measure]

    def stored_size(self, name):
        """A size of the mother as it is stored; one that was not touched keeps its own value."""
        shown, measure = self.cleaned_data[name], self.cleaned_data["measure"]
        if shown is None:
            return None
        if not {name, "measure"} & set(self.changed_data) and f"stored_{name}" in self.initial:
            return self.initial[f"stored_{name}"]
        # A count is passed on as it was typed, so that half a polyp is noticed and not rounded away.
        return shown if not measure or measure == Measure.POLYPS else unit_of(measure, self.length_unit).stored(shown)

    def cut_of(self, mother: Colony) -> MotherCut:
        """What was entered, for the action; call after ``is_valid``."""
        entered = self.cleaned_data
        return MotherCut(
            mother=mother,
            frags=entered["frags"],
            frag_size_mm=entered["size"],
            size_before=self.stored_size("before"),
            size_after=self.stored_size("after"),
            measure=entered["measure"],
            reason=entered["reason"],
            note=entered["note"],
            insurance=entered.get("insurance") or 0,
            cut_with=entered["cut_with"],
        )

    def refuse(self, column, sentence):
        name = FIELD_OF.get(column, column)
        self.add_error(name if name in self.fields else None, ValidationError(sentence))

    @property
    def more_is_open(self) -> bool:
        """Should what is folded away be seen: is something wrong in it, or was it filled in?"""
        hidden = {"size", "measure", "before", "after", "cut_with", "note", "insurance"}
        return bool(hidden & set(self.errors) or (self.is_bound and hidden & set(self.changed_data)))


class MotherForm(CutFields):
    """One mother of a sitting that is being recorded."""

    cut_with = forms.ChoiceField(
        choices=[("", "As the sitting"), *CutTool.choices, (NOT_NOTED, "Not noted")], required=False
    )
    insurance = forms.IntegerField(
        label="Set aside as insurance",
        required=False,
        error_messages={"invalid": "Frags are counted whole, like 2."},
        widget=forms.NumberInput(attrs={"min": 0, "max": MOST_FRAGS_AT_A_CUT, "autocomplete": "off"}),
    )

    def __init__(
        self, data=None, *, on_bench, chosen=False, last_count=None, entered: MotherCut | None = None, **kwargs
    ):
        self.on_bench, self.chosen = on_bench, chosen
        self.mother = on_bench.colony
        lineage = self.mother.lineage
        usual = lineage.frags_per_cut or last_count
        initial = {
            "frags": usual or 1,
            "size": lineage.frag_size_mm,
            "measure": lineage.measure,
            "insurance": min(on_bench.missing_copies, usual or 1),
        }
        if entered is not None:
            initial |= {
                "frags": entered.frags,
                "size": entered.frag_size_mm,
                "measure": entered.measure or lineage.measure,
                "insurance": entered.insurance,
                "cut_with": entered.cut_with,
                "reason": entered.reason,
                "note": entered.note,
                **_shown_sizes(entered, kwargs["length_unit"]),
            }
        super().__init__(data, prefix=f"m{self.mother.pk}", initial=initial, **kwargs)
        # cut.js keeps to it while the number of frags changes.
        self.fields["insurance"].widget.attrs["data-missing"] = on_bench.missing_copies
        # Without a count of its own the line takes the last one used in this sitting (cut.js).
        if not lineage.frags_per_cut and entered is None:
            self.fields["frags"].widget.attrs["data-no-memory"] = True

    @property
    def asks_for_reason(self) -> bool:
        return bool(self.on_bench.cautions) or "reason" in self.errors or bool(self["reason"].value())


def _shown_sizes(cut: MotherCut, length_unit):
    sizes = {"before": cut.size_before, "after": cut.size_after}
    sizes = {name: size for name, size in sizes.items() if size is not None}
    # A number, not its text, so that Django sees whether it was touched.
    shown = {name: Decimal(plain(unit_of(cut.measure, length_unit).shown(size))) for name, size in sizes.items()}
    return shown | {f"stored_{name}": size for name, size in sizes.items()}


class RackField(forms.ModelChoiceField):
    def __init__(self, **kwargs):
        racks = Spot.objects.racks().in_running_systems().select_related("system").order_by("system__name", "name")
        super().__init__(queryset=racks, required=False, empty_label="No rack yet", **kwargs)

    def label_from_instance(self, rack):
        return f"{rack.name}, {rack.system}"


class SittingForm(forms.Form):
    """What the mothers of a sitting share."""

    rack = RackField(label="Put the plugs on")
    cut_on = DayField(label="Cut on")
    cut_with = forms.ChoiceField(
        choices=[*CutTool.choices, ("", "Not noted")], required=False, widget=forms.RadioSelect
    )
    note = forms.CharField(
        label="Note on the sitting", required=False, widget=forms.Textarea(attrs={"rows": 2}), max_length=4000
    )
    # Made when the page is opened, so that the same form sent twice is known.
    submission = forms.UUIDField(widget=forms.HiddenInput, required=False)

    @staticmethod
    def fresh(today, rack_id=None, cut_with=""):
        return {"cut_on": today, "submission": uuid4(), "rack": rack_id, "cut_with": cut_with}


class FileForm(forms.Form):
    file = forms.FileField(
        label="CSV file",
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt,text/csv"}),
        error_messages={"required": "Choose a file.", "empty": "The file is empty."},
    )
    cut_on = DayField(label="Cut on")


class SessionForm(forms.Form):
    """The day and the note of a session that is corrected, and what the correction is based on."""

    cut_on = DayField(label="Cut on")
    note = forms.CharField(
        label="Note on the sitting", required=False, widget=forms.Textarea(attrs={"rows": 2}), max_length=4000
    )
    version = forms.IntegerField(widget=forms.HiddenInput)


class CorrectionForm(CutFields):
    """One cut of a session that is corrected, or a mother that was forgotten."""

    tag = forms.CharField(
        label="Mother",
        widget=forms.TextInput(attrs={"list": "tags", "autocomplete": "off", "autocapitalize": "characters"}),
    )
    void = forms.TypedMultipleChoiceField(required=False, coerce=int, widget=forms.CheckboxSelectMultiple)

    def __init__(self, data=None, *, event: CutEvent | None = None, plugs=(), **kwargs):
        self.event, self.plugs = event, plugs
        initial = {}
        if event is not None:
            cut = as_recorded(event)
            initial = {
                "tag": event.mother.tag,
                "frags": event.frags,
                "size": event.frag_size_mm,
                "cut_with": event.cut_with,
                "measure": event.measure or event.mother.lineage.measure,
                "reason": event.reason,
                "note": event.note,
                **_shown_sizes(cut, kwargs["length_unit"]),
            }
        super().__init__(data, prefix=f"e{event.pk}" if event else "new", initial=initial, **kwargs)
        self.fields["frags"].widget.attrs["min"] = 0 if event else 1
        self.fields["void"].choices = [
            (plug.pk, f"{plug.code_in_clear}{' · labelled' if plug.labelled_at else ''}")
            for plug in plugs
            if plug.fate == Fate.KEPT
        ]
        if event is None:
            self.fields["tag"].label = "Mother that was forgotten"
            self.empty_permitted = True
            self.use_required_attribute = False

    def clean_tag(self):
        try:
            self.mother = find_colony(self.cleaned_data["tag"], among=Colony.objects.select_related("lineage"))
        except RametError as error:
            raise ValidationError(str(error)) from error
        return self.mother.tag

    @property
    def is_left_empty(self) -> bool:
        return self.event is None and not self["tag"].value() and not self["frags"].value()

    def correction(self) -> CutCorrection:
        cut = self.cut_of(self.mother)
        if self.event is None and cut.frag_size_mm is None:
            cut = replace(cut, frag_size_mm=self.mother.lineage.frag_size_mm)
        return CutCorrection(self.event, cut, tuple(self.cleaned_data["void"]))


class BenchForm:
    """The whole page: the sitting, a form for each mother chosen, and those that are offered.

    ``chosen`` are ids in the order of choosing; ``entered`` are cuts that were read from a file. ``rack_id`` and
    ``cut_with`` are those of the last sitting; what the cuts of a file were made with, the file alone says.
    """

    def __init__(self, *, today, length_unit, data=None, chosen=(), rack_id=None, cut_with="", entered=()):
        self.today, self.length_unit, self.data = today, length_unit, data
        fresh = SittingForm.fresh(today, rack_id, "" if entered else cut_with)
        self.sitting = SittingForm(data, initial=fresh, label_suffix="")
        self.entered = {cut.mother.pk: cut for cut in entered}
        self.chosen = list(dict.fromkeys([*chosen, *self.entered]))
        self.find = ""
        self.sentences = []

    @property
    def day(self):
        """The day of the cut as far as it can be read, else today."""
        if self.data is None:
            return self.sitting.initial["cut_on"]
        try:
            return self.sitting.fields["cut_on"].clean(self.data.get("cut_on"))
        except ValidationError:
            return self.today

    @property
    def comes_filled_in(self) -> bool:
        """Does the page bring what was entered, so that nothing older may be put over it?"""
        return self.data is not None or bool(self.chosen)

    def forms_of(self, ids, *, chosen: bool) -> list[MotherForm]:
        """Forms of the mothers of these ids; of those chosen with what was entered."""
        return [
            MotherForm(
                # A mother that has just been chosen has not been filled in yet.
                self.data if chosen and self._is_sent(mother) else None,
                on_bench=mother,
                chosen=chosen,
                last_count=self.last_count,
                entered=self.entered.get(mother.colony.pk),
                length_unit=self.length_unit,
                label_suffix="",
            )
            for mother in bench_mothers(ids, self.day)
        ]

    def _is_sent(self, mother) -> bool:
        return self.data is not None and f"m{mother.colony.pk}-frags" in self.data

    @property
    def last_count(self) -> int | None:
        """The count entered last in this sitting."""
        sent = [self.data.get(f"m{pk}-frags", "") for pk in self.chosen] if self.data is not None else []
        return next((int(text) for text in reversed(sent) if text.isdecimal() and 0 < int(text) <= 200), None)

    @cached_property
    def mothers(self) -> list[MotherForm]:
        return self.forms_of(self.chosen, chosen=True)

    @cached_property
    def offered(self) -> list[MotherForm]:
        ids = mothers_to_offer(self.day, text=self.find, leave_out=self.chosen)
        return self.forms_of(ids, chosen=False)

    def choose(self, text: str) -> str:
        """Choose the mother with this tag or code, typed or scanned; say what was done.

        Raises NothingFound, CodeMistyped, BadValue if it is a plug's code or the colony has ended.
        """
        colony = find_mother(text, day=self.day)
        if colony.pk in self.chosen:
            return f"{colony.tag} is in this sitting already."
        self.chosen.append(colony.pk)
        self.__dict__.pop("mothers", None)
        return f"{colony.tag} is chosen."

    def is_valid(self) -> bool:
        return all([self.sitting.is_valid(), *(form.is_valid() for form in self.mothers)])

    @property
    def cuts(self) -> list[MotherCut]:
        """What was entered for each mother, cut with what the sitting was unless it says otherwise; once valid."""
        cuts, usual = [], self.sitting.cleaned_data["cut_with"]
        for form in self.mothers:
            cut = form.cut_of(form.mother)
            cuts.append(replace(cut, cut_with="" if cut.cut_with == NOT_NOTED else cut.cut_with or usual))
        return cuts

    def refuse(self, errors) -> None:
        """Put the errors of a sitting, ``(row, column, sentence)``, to the fields that they are about."""
        for row, column, sentence in errors:
            if row <= len(self.mothers):
                self.mothers[row - 1].refuse(column, sentence)
            else:
                self.sentences.append(sentence)

    @property
    def total(self) -> int:
        values = [form["frags"].value() for form in self.mothers]
        return sum(int(value) for value in values if str(value).isdecimal())

    @property
    def problems(self) -> list[tuple[str, str]]:
        """``(address on the page, sentence)`` for everything that was wrong."""
        return (
            [("", text) for text in self.sentences]
            + problems_of([(None, self.sitting)])
            + problems_of([(form.mother.tag, form) for form in self.mothers if form.is_bound])
        )


def problems_of(named_forms) -> list[tuple[str, str]]:
    """What is wrong in forms, each with the address of its field: ``("#id_m7-frags", "M012 · Frags: …")``."""
    found = []
    for name, form in named_forms:
        before = f"{name} · " if name else ""
        found += [("", f"{before}{text}") for text in form.non_field_errors()]
        for bound in form:
            found += [(f"#{bound.auto_id}", f"{before}{bound.label}: {text}") for text in bound.errors]
    return found
