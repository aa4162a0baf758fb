"""What to print, on what."""

from uuid import uuid4

from django import forms

from labels.drawing.stock import problems
from labels.models import LabelStock

# Thermal printers print 203 or 300 dots an inch, desktop printers 600 (common practice, no source).
RESOLUTIONS = [(203, "203 dpi, label printer"), (300, "300 dpi"), (600, "600 dpi, desk printer")]


def grouped_stocks():
    """Stocks for a choice, sheets and rolls apart."""
    groups = {}
    for stock in LabelStock.objects.order_by("-kind", "pk"):
        groups.setdefault(f"{stock.get_kind_display()}s", []).append((stock.pk, stock.name))
    return list(groups.items())


class PrintForm(forms.Form):
    """The stock, the first free label and the printer. What is printed comes beside it."""

    submission = forms.UUIDField(widget=forms.HiddenInput)
    stock = forms.ModelChoiceField(LabelStock.objects.all(), label="Stock", empty_label=None)
    start = forms.IntegerField(
        label="Start at label",
        min_value=1,
        initial=1,
        help_text="The first free label of a part-used sheet, counted row by row.",
    )
    dpi = forms.TypedChoiceField(label="Printer", choices=RESOLUTIONS, coerce=int, initial=300)
    outline = forms.BooleanField(
        label="Draw the edge of each label", required=False, help_text="To cut by hand from plain waterproof paper."
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["stock"].choices = grouped_stocks()
        self.fields["submission"].initial = uuid4

    def clean(self):
        cleaned = super().clean()
        stock, start = cleaned.get("stock"), cleaned.get("start")
        if stock and start and start > stock.labels_per_page:
            self.add_error(
                "start",
                f"This stock has {stock.labels_per_page} labels on a page; start at 1 to {stock.labels_per_page}.",
            )
        return cleaned


class StockForm(forms.ModelForm):
    """A stock by its measures, as a ruler on the sheet gives them."""

    class Meta:
        model = LabelStock
        fields = [
            "name",
            "kind",
            "page_width_mm",
            "page_height_mm",
            "label_width_mm",
            "label_height_mm",
            "columns",
            "rows",
            "left_mm",
            "top_mm",
            "pitch_x_mm",
            "pitch_y_mm",
            "corner_radius_mm",
        ]
        help_texts = {
            "name": "By its size is best: A4, 3 × 8, 70 × 37 mm.",
            "page_width_mm": "A4 is 210 × 297, Letter 215.9 × 279.4. For a roll: one label with the carrier around it.",
            "left_mm": "From the edge of the page to the first label.",
            "top_mm": "From the top of the page to the first label.",
        }

    def clean(self):
        from labels.actions.print_labels import geometry_of

        cleaned = super().clean()
        if not self.errors:
            for sentence in problems(geometry_of(LabelStock(**cleaned))):
                self.add_error(None, sentence)
        return cleaned
