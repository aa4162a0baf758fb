"""What Django's own fields say when something is wrong, in the house's words and with a way out.

A form says more where it knows more; these stand wherever it does not.
"""

from django import forms
from django.core import validators

REFUSALS = {
    forms.Field: {"required": "This may not be empty."},
    forms.IntegerField: {"invalid": "This is no whole number. Write it as 8."},
    forms.DecimalField: {"invalid": "This is no number. Write it as 8.4."},
    forms.FloatField: {"invalid": "This is no number. Write it as 8.4."},
    forms.ChoiceField: {"invalid_choice": "“%(value)s” is none of these. Choose one of them."},
    forms.MultipleChoiceField: {"invalid_choice": "“%(value)s” is none of these. Choose among them."},
    forms.ModelChoiceField: {"invalid_choice": "This is not to be had any more. Choose one of those that are."},
    forms.FileField: {
        "required": "Choose a file.",
        "missing": "Choose a file.",
        "invalid": "The file did not come. Choose it again.",
        "empty": "The file is empty. Choose another.",
    },
}
LIMITS = {
    validators.MinValueValidator: "%(show_value)s is too little; %(limit_value)s is the least.",
    validators.MaxValueValidator: "%(show_value)s is too much; %(limit_value)s is the most.",
    validators.MaxLengthValidator: "This has %(show_value)s characters; %(limit_value)s fit.",
    validators.ProhibitNullCharactersValidator: "This has a character in it that cannot be kept. Type it again.",
}
DIGITS = {
    "invalid": "This is no number. Write it as 8.4.",
    "max_digits": "A number with so many digits cannot be right.",
    "max_decimal_places": "So many digits after the point cannot be kept; %(max)s fit.",
    "max_whole_digits": "A number with so many digits cannot be right.",
}


def speak_in_the_words_of_the_house() -> None:
    """Once, before any form is made."""
    for field, words in REFUSALS.items():
        field.default_error_messages = field.default_error_messages | words
    for validator, words in LIMITS.items():
        validator.message = words
    validators.DecimalValidator.messages = validators.DecimalValidator.messages | DIGITS
