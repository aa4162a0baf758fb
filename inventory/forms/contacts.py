import django_filters
from django import forms

from inventory.forms.holds import too_long
from inventory.models import Contact
from inventory.readings.contacts import contacts_matching
from propagation.forms.fields import NameIsForTheAct, based_on_field


class ContactForm(NameIsForTheAct, forms.ModelForm):
    """The particulars of a contact."""

    somebody_new = forms.BooleanField(label="This is somebody else, add them", required=False)
    based_on = based_on_field()

    class Meta:
        model = Contact
        fields = ["name", "reach", "note"]
        labels = {"note": "Note"}
        widgets = {
            "name": forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "words"}),
            "reach": forms.TextInput(attrs={"autocomplete": "off"}),
            "note": forms.Textarea(attrs={"rows": 3}),
        }
        help_texts = {"note": "Keep only what you need. They may ask to see it."}
        error_messages = {
            "name": {"required": "Give the contact a name, or a nickname.", "max_length": too_long(120)},
            "reach": {"max_length": too_long(200)},
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["somebody_new"].widget = forms.HiddenInput()

    def ask_if_new(self):
        """Show the box that says it is somebody else."""
        self.fields["somebody_new"].widget = forms.CheckboxInput()


class ContactFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(label="Name, or how to reach them", method="holding_words")
    holding = django_filters.BooleanFilter(
        label="Only who has a plug held", method="who_holds", widget=forms.CheckboxInput
    )

    class Meta:
        model = Contact
        fields = []

    def holding_words(self, queryset, name, value):
        return contacts_matching(queryset, value.strip())

    def who_holds(self, queryset, name, value):
        return queryset.filter(plugs_held__gt=0) if value else queryset
