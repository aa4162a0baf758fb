from decimal import Decimal

from django import forms

from propagation.forms.fields import NumberField, based_on_field
from propagation.lengths import measure_name, plain, unit_of
from propagation.models import CutRule, Measure
from propagation.readings.cut_rule import SIZES, Holds

LABELS = {name: CutRule._meta.get_field(name).verbose_name for name in SIZES}
HELP = {
    "keep_at_least": "It is never cut back further than this.",
    "frag_unit": "What it loses for one frag, with what is wasted.",
    "room": "Beyond it, it would touch a neighbour or the glass.",
}


class CutRuleForm(forms.Form):
    """How a line or a colony is cut, sizes in the keeper's unit; beside every empty field what holds."""

    fewest_frags = forms.IntegerField(label="Fewest frags worth a cut", required=False, min_value=1, max_value=200)
    largest_share = forms.IntegerField(label="Most that may be removed", required=False, min_value=1, max_value=95)
    rest_days = forms.IntegerField(label="Rest after a cut", required=False, min_value=0, max_value=730)
    measure = forms.ChoiceField(label="The sizes below are")
    keep_at_least = NumberField(label=LABELS["keep_at_least"], required=False)
    frag_unit = NumberField(label=LABELS["frag_unit"], required=False)
    room = NumberField(label=LABELS["room"], required=False)
    based_on = based_on_field()

    def __init__(self, *args, rule: CutRule | None, measure: str, length_unit: str, holds: dict[str, Holds], **kwargs):
        self.rule, self.length_unit, self.was_measure = rule, length_unit, measure
        unit = unit_of(measure, length_unit)
        initial = {"measure": measure} | kwargs.pop("initial", {})
        if rule is not None:
            initial |= {name: getattr(rule, name) for name in ("fewest_frags", "largest_share", "rest_days")}
            for name in SIZES:
                size = getattr(rule, name)
                initial[name] = None if size is None else Decimal(plain(unit.shown(size)))
        super().__init__(*args, initial=initial, **kwargs)
        self.fields["measure"].choices = [(each.value, measure_name(each, length_unit)) for each in Measure]
        for name, words in {"fewest_frags": "", "largest_share": " %", "rest_days": " days"}.items():
            held = holds[name]
            self.fields[name].help_text = f"Empty: {plain(held.value)}{words}, {held.why}."
            self.fields[name].widget.attrs["data-from"] = plain(held.value)
        for name in SIZES:
            held = holds[name]
            now = held.why if held.value is None else f"{unit.text(held.value)}, {held.why}"
            self.fields[name].help_text = f"{HELP[name]} Empty: {now}."
            self.fields[name].label = LABELS[name]

    @property
    def told(self) -> dict:
        """What to keep, sizes as they are stored; call after ``is_valid``. A size not touched is free of rounding."""
        told = dict(self.cleaned_data)
        unit = unit_of(told["measure"], self.length_unit)
        is_same_measure = told["measure"] == self.was_measure
        for name in SIZES:
            if told[name] is None:
                continue
            if is_same_measure and name not in self.changed_data:
                told[name] = getattr(self.rule, name)
            elif told["measure"] != Measure.POLYPS:
                told[name] = unit.stored(told[name])
        return told
