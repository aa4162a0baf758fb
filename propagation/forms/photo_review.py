"""Forms of reviewing a photo: an outline, a box, strokes, and two points of known distance."""

import json

from django import forms

from propagation.forms.fields import LengthField


class PlacesField(forms.CharField):
    """Places in a photo as the page's script sends them, as JSON: ``[[x, y], …]`` or nested deeper."""

    widget = forms.HiddenInput

    def __init__(self, *, depth=2, wrong="Draw it again.", **kwargs):
        super().__init__(**kwargs)
        self.depth = depth
        self.wrong = wrong

    def to_python(self, value):
        text = super().to_python(value)
        if not text:
            return None
        try:
            places = json.loads(text)
        except (ValueError, RecursionError) as error:  # brackets within brackets without end, too
            raise forms.ValidationError(self.wrong, code="invalid") from error
        if not _is_nested(places, self.depth):
            raise forms.ValidationError(self.wrong, code="invalid")
        return places

    def prepare_value(self, value):
        return value if isinstance(value, str) or value is None else json.dumps(value)


def _is_nested(places, depth) -> bool:
    """Lists within lists to a depth, and finite numbers there."""
    if depth == 0:
        is_number = isinstance(places, int | float) and not isinstance(places, bool)
        return is_number and abs(places) < 1e6  # not so for a NaN, either
    return isinstance(places, list) and all(_is_nested(each, depth - 1) for each in places)


def percent(label):
    return forms.FloatField(label=label, min_value=0, max_value=100, required=False)


class OutlineForm(forms.Form):
    """An outline to be measured; or, with ``act=box``, a box in percent of the picture to look into."""

    outline = PlacesField(required=False, wrong="The outline is not understood; draw it again.")
    left = percent("Left edge (%)")
    right = percent("Right edge (%)")
    top = percent("Upper edge (%)")
    bottom = percent("Lower edge (%)")

    def box_in(self, photo) -> list[float] | None:
        """The box in pixels, or None if it is not a box."""
        edges = [self.cleaned_data.get(name) for name in ("left", "top", "right", "bottom")]
        if None in edges or edges[0] >= edges[2] or edges[1] >= edges[3]:
            return None
        sides = (photo.width, photo.height, photo.width, photo.height)
        return [edge * side / 100 for edge, side in zip(edges, sides, strict=True)]


class ProposeForm(forms.Form):
    box = PlacesField(depth=1, required=False)
    inside = PlacesField(depth=3, required=False)
    outside = PlacesField(depth=3, required=False)

    def clean_box(self):
        box = self.cleaned_data["box"]
        if box is not None and len(box) != 4:
            raise forms.ValidationError("Draw the box again.")
        return box

    def clean_inside(self):
        return self._points("inside")

    def clean_outside(self):
        return self._points("outside")

    def _points(self, name):
        strokes = self.cleaned_data[name] or []
        if any(len(point) != 2 for stroke in strokes for point in stroke):
            raise forms.ValidationError("Draw the stroke again.")
        return strokes


class ScaleForm(forms.Form):
    """Two points and how far apart they are; without a script the points are typed in percent of the picture."""

    distance = LengthField(
        label="How far apart they are",
        max_digits=7,
        decimal_places=2,
        min_value=1,
        error_messages={"required": "Say how far apart the two points are."},
    )
    marks = PlacesField(required=False, wrong="Set the two points again.")
    left = percent("First point, from the left (%)")
    top = percent("First point, from above (%)")
    right = percent("Second point, from the left (%)")
    bottom = percent("Second point, from above (%)")

    def __init__(self, *args, length_unit: str, photo, **kwargs):
        super().__init__(*args, **kwargs)
        self.photo = photo
        self.fields["distance"].use_unit(length_unit)

    def clean(self):
        told = super().clean()
        typed = [told.get(name) for name in ("left", "top", "right", "bottom")]
        if not told.get("marks") and None not in typed:
            sides = (self.photo.width, self.photo.height) * 2
            x0, y0, x1, y1 = (edge * side / 100 for edge, side in zip(typed, sides, strict=True))
            told["marks"] = [[x0, y0], [x1, y1]]
        marks = told.get("marks") or []
        if "marks" not in self.errors and (len(marks) != 2 or any(len(mark) != 2 for mark in marks)):
            self.add_error("marks", "Set two points: one at each end of a length that you know.")
        return told
