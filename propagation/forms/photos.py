"""Forms of photos: adding them, what one is of, when it was taken."""

from django import forms
from django.db.models import Max

from propagation.actions.keep_photo import MOST_BYTES, MOST_IN_A_ROUND
from propagation.errors import RametError
from propagation.forms.fields import DayField
from propagation.readings.find import find_plug_or_colony

TAKEN = ".jpg,.jpeg,.png,.heic,.heif,.webp,image/jpeg,image/png,image/heic,image/heif,image/webp"


class ManyFilesInput(forms.ClearableFileInput):
    allow_multiple_selected = True


class PhotosField(forms.FileField):
    """One file or many; each is looked at by itself, so that one that is wrong keeps no other out."""

    widget = ManyFilesInput

    def clean(self, value, initial=None):
        files = [each for each in (value if isinstance(value, list | tuple) else [value]) if each]
        if self.required and not files:
            raise forms.ValidationError(self.error_messages["required"], code="required")
        if len(files) > MOST_IN_A_ROUND:
            raise forms.ValidationError(f"{len(files)} photos at once are too many; add at most {MOST_IN_A_ROUND}.")
        return files


class PhotosForm(forms.Form):
    photos = PhotosField(
        label="Photos",
        help_text=f"JPEG, PNG, HEIC or WebP, each up to {MOST_BYTES // 1024**2} MB. They are kept as they come.",
        error_messages={"required": "Choose at least one photo."},
    )
    submission = forms.UUIDField(
        widget=forms.HiddenInput, error_messages={"invalid": "Open this page again and choose the photos once more."}
    )


class OfField(forms.CharField):
    """A colony by its tag, or a plug or colony by its code; what is mistyped or unknown is said."""

    def clean(self, value):
        text = super().clean(value)
        try:
            return find_plug_or_colony(text)
        except RametError as error:
            raise forms.ValidationError(str(error)) from error


class SortForm(forms.Form):
    of = OfField(
        label="It is a picture of",
        help_text="A colony’s tag, or the code of a plug.",
        error_messages={"required": "Give the tag of a colony, or the code of a plug."},
        widget=forms.TextInput(attrs={"class": "code-input", "autocomplete": "off"}),
    )


class DateForm(forms.Form):
    day = DayField(label="It was taken on")


class AcceptForm(forms.Form):
    """Which measurement is taken into the records, and whether its doubts were said yes to.

    It must be the latest: one that was mended since the page was opened is looked at first.
    """

    confirmed = forms.BooleanField(required=False)

    def __init__(self, *args, photo, **kwargs):
        super().__init__(*args, **kwargs)
        latest = photo.measurements.aggregate(pk=Max("pk"))["pk"]
        self.fields["measurement"] = forms.ModelChoiceField(queryset=photo.measurements.filter(pk=latest))
