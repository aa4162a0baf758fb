"""The keeper's choices."""

from django.contrib import messages
from django.shortcuts import redirect, render

from propagation.actions.keep_preferences import QUIET_MODULES, keep_preferences, modules_of_label
from propagation.errors import RametError
from propagation.forms.fields import refuse
from propagation.forms.preferences import PreferencesForm
from propagation.models import Preferences

EXAMPLE_SQUARE_MM = 15


def preferences(request):
    form = PreferencesForm(request.POST or None, instance=Preferences.current())
    if request.method == "POST" and form.is_valid():
        try:
            keep_preferences(preferences=form.instance)
        except RametError as error:
            refuse(form, error)
        else:
            messages.success(request, "Your preferences are saved.")
            return redirect("preferences")
    address = Preferences.current().base_address or f"{request.scheme}://{request.get_host()}"
    modules = modules_of_label(address)
    module_mm = f"{EXAMPLE_SQUARE_MM / (modules + 2 * QUIET_MODULES):.2f}" if modules else None
    return render(
        request,
        "propagation/preferences.html",
        {"form": form, "address": address, "modules": modules, "module_mm": module_mm},
    )
