"""The keeper's choices."""

from django.contrib import messages
from django.shortcuts import redirect

from propagation.actions.keep_preferences import QUIET_MODULES, keep_preferences, modules_of_label
from propagation.addresses import base_address_of
from propagation.forms.preferences import PreferencesForm
from propagation.models import Preferences
from propagation.views.answers import carried_out, form_page, sent

EXAMPLE_SQUARE_MM = 15


def preferences(request):
    form = PreferencesForm(sent(request), instance=Preferences.current())

    def keep(_):
        keep_preferences(preferences=form.instance)
        messages.success(request, "Your preferences are saved.")
        return redirect("preferences")

    if answer := carried_out(request, form, keep):
        return answer
    address = base_address_of(request)
    modules = modules_of_label(address)
    module_mm = f"{EXAMPLE_SQUARE_MM / (modules + 2 * QUIET_MODULES):.2f}" if modules else None
    context = {"address": address, "modules": modules, "module_mm": module_mm}
    return form_page(request, "propagation/preferences.html", form, context)
