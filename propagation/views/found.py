"""The record that an address names, or the page that says why there is none."""

from django.http import Http404

from propagation.errors import RametError
from propagation.models import Colony, Plug
from propagation.readings.find import find_colony, find_plug


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
