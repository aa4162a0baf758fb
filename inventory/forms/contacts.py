import django_filters
from django import forms

from inventory.errors import NearlyTheSameName
from inventory.forms.holds import contact_name_field, too_long
from inventory.models import Contact
from inventory.readings.contacts import contacts_matching
from propagation.forms.fields import AsksWhenWarned, NameIsForTheAct, based_on_field


class ContactForm(AsksWhenWarned, NameIsForTheAct, forms.ModelForm):
    """The particulars of a contact."""

    somebody_new = forms.BooleanField(label="This is somebody else, add them", required=False)
    based_on = based_on_field()
    asks = {NearlyTheSameName: "somebody_new"}

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


class SamePersonForm(forms.Form):
    """Which other contact is the same person."""

    name = contact_name_field(label="The same person as", missing="Say who it is.")

    def __init__(self, *args, contact: Contact, **kwargs):
        super().__init__(*args, **kwargs)
        self.contact, self.other = contact, None
        self.fields["name"].help_text = "One of your contacts, by name."
        self.fields["name"].error_messages["required"] = "Say which contact is the same person."

    def clean_name(self):
        name = " ".join(self.cleaned_data["name"].split())
        found = Contact.objects.filter(name__iexact=name, forgotten_on=None).select_related("merged_into").first()
        if found is None:
            raise forms.ValidationError(f"No contact is called “{name}”. Choose one from the list of your contacts.")
        self.other = found.merged_into or found
        if self.other == self.contact:
            raise forms.ValidationError(f"“{name}” is this contact itself; choose the other one.")
        return name


class ForgetForm(forms.Form):
    """What is asked before somebody is forgotten."""

    end_waiting = forms.BooleanField(label="They wait no more: end their places in line", required=False)
    leave_notes = forms.BooleanField(label="These notes do not mean them: leave them as they are", required=False)


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
