"""Addresses of propagation. One block per part of the job; names are flat."""

from django.urls import path

from propagation.views import sign_in, today

urlpatterns = [
    # -- signing in and today
    path("", today.today, name="today"),
    path("sign-in/", sign_in.SignIn.as_view(), name="sign_in"),
    path("sign-in/link/", sign_in.sign_in_by_link, name="sign_in_by_link"),
    path("sign-out/", sign_in.SignOut.as_view(), name="sign_out"),
    # -- recording a cutting session
    # -- racks, plugs and healing
    # -- lineages, systems, colonies, acquisitions, preferences
    # -- tracing
]
