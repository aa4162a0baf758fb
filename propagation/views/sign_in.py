"""Signing in by name and password or by a link that works once, and signing out."""

from django.conf import settings
from django.contrib.auth import authenticate, login
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView, LogoutView
from django.shortcuts import redirect, render, resolve_url
from django.utils.decorators import method_decorator
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from propagation.views.answers import REFUSED

LINK_FIELD = "sesame"  # what django-sesame calls the secret of a link


class SignIn(LoginView):
    """By name and password; django-axes counts wrong ones."""

    redirect_authenticated_user = True

    def form_invalid(self, form):
        return self.render_to_response(self.get_context_data(form=form), status=REFUSED)


@method_decorator(login_not_required, name="dispatch")
class SignOut(LogoutView):
    """By POST only, so that no link or picture signs anybody out."""


@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in_by_link(request):
    """Opening the link shows a button and the button signs in: a preview of the link in a chat does not use it up."""
    if request.method != "POST":
        secret = request.GET.get(LINK_FIELD, "")
        if request.user.is_authenticated:
            return redirect(settings.LOGIN_REDIRECT_URL)
        return render(request, "registration/sign_in_by_link.html", {"secret": secret}, status=200 if secret else 404)
    user = authenticate(request, sesame=request.POST.get(LINK_FIELD, ""), scope="", max_age=None)
    if user is None:
        return render(request, "registration/sign_in_by_link.html", {"secret": ""}, status=403)
    login(request, user)  # notes the day of signing in, which uses up the link
    wish = request.POST.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(wish, {request.get_host()}, require_https=request.is_secure())
    return redirect(wish if is_ours else resolve_url(settings.LOGIN_REDIRECT_URL))
