from django import forms

from inventory.forms.holds import too_long
from inventory.forms.prices import AmountField
from inventory.models import Availability, Book, OfferPack, PlugOffer

CHOOSE = {"required": "Choose one.", "invalid_choice": "Choose one of these."}
ALIKE, ITSELF, WITHHELD = "alike", "itself", "withheld"
HOW = [(ALIKE, "As one of several alike"), (ITSELF, "As itself, with its code"), (WITHHELD, "Not offered")]


def _text(model, name, label, missing="Write something here.", **kwargs):
    most = model._meta.get_field(name).max_length
    wrong = {"max_length": too_long(most), "required": missing}
    return forms.CharField(label=label, max_length=most, error_messages=wrong, **kwargs)


class AvailabilityForm(forms.Form):
    """Who sees the page of offers, and what stands on it beside the offers."""

    visibility = forms.ChoiceField(
        label="Who sees it", choices=Availability.Visibility, widget=forms.RadioSelect, error_messages=CHOOSE
    )
    headline = _text(Availability, "headline", "At the top", required=False, help_text="Else “Frags available”.")
    wishes = forms.CharField(
        label="Would swap for", required=False, widget=forms.Textarea(attrs={"rows": 4}), help_text="One wish a line."
    )
    reach = _text(
        Availability, "reach", "How to reach you", required=False, help_text="Shown on the page as it stands."
    )


class PlugOfferForm(forms.Form):
    """How one plug is offered."""

    how = forms.ChoiceField(label="Offered", choices=HOW, widget=forms.RadioSelect, error_messages=CHOOSE)
    words = _text(
        PlugOffer, "words", "Said of it", required=False, help_text="With words it is offered as itself, too."
    )

    def as_told(self) -> dict:
        """What ``offer_plug`` is told."""
        how = self.cleaned_data["how"]
        return {"as_itself": how == ITSELF, "withheld": how == WITHHELD, "words": self.cleaned_data["words"]}

    @staticmethod
    def initial_of(offer: PlugOffer | None) -> dict:
        if offer is None:
            return {"how": ALIKE}
        return {"how": WITHHELD if offer.withheld else ITSELF if offer.as_itself else ALIKE, "words": offer.words}


class PackForm(forms.Form):
    """A pack: its plugs by their codes, and one price."""

    name = _text(OfferPack, "name", "Name", missing="Give the pack a name.")
    plugs = forms.CharField(
        label="Plugs",
        widget=forms.Textarea(attrs={"rows": 3, "autocapitalize": "characters", "spellcheck": "false"}),
        help_text="Their codes, with a space, a comma or a new line between.",
        error_messages={"required": "Write the codes of at least two plugs."},
    )
    words = _text(OfferPack, "words", "Said of it", required=False)

    def __init__(self, *args, book: Book, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["amount"] = AmountField(
            book=book,
            label=f"Price of all ({book.currency})",
            required=True,
            error_messages={"required": "Say what the pack costs."},
        )
        self.order_fields(["name", "plugs", "amount", "words"])

    def codes(self) -> list[str]:
        return self.cleaned_data["plugs"].replace(",", " ").split()
