"""What every page knows."""

from django.utils.functional import SimpleLazyObject

from propagation.models import Preferences


def preferences(request):
    """The keeper's preferences, asked for once and only if the page uses them."""
    return {"preferences": SimpleLazyObject(Preferences.current)}
