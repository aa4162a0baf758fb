"""The record that an address names, or the page that says why there is none; the codes in a picture that was sent."""

from django.http import Http404

from propagation.errors import PictureUnreadable, RametError
from propagation.models import Colony, Plug
from propagation.readings.find import find_colony, find_plug
from propagation.readings.picture_codes import MOST_BYTES, codes_in_picture


def colony_or_404(tag: str, *, among=None) -> Colony:
    """The colony with this tag or code, with its lineage unless it is looked for ``among`` others."""
    try:
        return find_colony(tag, among=Colony.objects.select_related("lineage") if among is None else among)
    except RametError as error:
        raise Http404(str(error)) from error


def plug_or_404(code: str) -> Plug:
    """The plug with this code, in whatever way it is written."""
    try:
        return find_plug(code)
    except RametError as error:
        raise Http404(str(error)) from error


def codes_sent(request) -> list[str]:
    """The codes of the labels in the picture that came with a form.

    Raises PictureUnreadable, also where no picture came, and NoCodeInPicture.
    """
    picture = request.FILES.get("picture")
    if picture is None:
        raise PictureUnreadable("Take a picture of the label first, or type its code.")
    return codes_in_picture(picture.read(MOST_BYTES + 1))  # one byte more than is taken tells that it is too large
