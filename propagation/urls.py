"""Addresses of propagation. One block per part of the job; names are flat."""

from django.urls import path  # noqa: F401 - used as the blocks fill

urlpatterns = [
    # -- signing in and today
    # -- recording a cutting session
    # -- racks, plugs and healing
    # -- lineages, systems, colonies, acquisitions, preferences
    # -- tracing
]
