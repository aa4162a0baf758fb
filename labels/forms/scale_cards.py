"""Which scale cards to print."""

from decimal import Decimal

from django import forms

from labels.drawing.papers.pages import A4, SIZES
from propagation.imaging.card import CARDS

ALL_COLONIES, ONE_COLONY, ANY_COLONY = "all", "one", "any"


def card_choices():
    """The shipped sizes with their measures."""
    return [
        (
            f"{card.symbol_mm:g}",
            f"{name.capitalize()}, {card.paper.width:.0f} × {card.paper.height:.0f} mm, code {card.symbol_mm:g} mm",
        )
        for name, card in CARDS.items()
    ]


class ScaleCardForm(forms.Form):
    what = forms.ChoiceField(
        label="For",
        choices=[
            (ANY_COLONY, "Any colony"),
            (ONE_COLONY, "One colony"),
            (ALL_COLONIES, "Every living colony, a card each"),
        ],
        widget=forms.RadioSelect,
        initial=ANY_COLONY,
        error_messages={"required": "Say for which colony."},
    )
    tag = forms.CharField(
        label="Tag of the colony",
        max_length=24,
        required=False,
        help_text="With a card of its own in the picture a colony's photos are sorted by themselves.",
    )
    size = forms.TypedChoiceField(
        label="Size",
        choices=card_choices,
        coerce=Decimal,
        initial="32",
        widget=forms.RadioSelect,
        help_text="The larger the code in the picture, the surer the measure.",
    )
    paper = forms.ChoiceField(
        label="Paper",
        choices=[(size.name, size.words) for size in SIZES.values()],
        widget=forms.RadioSelect,
        initial=A4.name,
    )

    def clean(self):
        told = super().clean()
        if told.get("what") == ONE_COLONY and not told.get("tag"):
            self.add_error("tag", "Give the tag of the colony.")
        return told
