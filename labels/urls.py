"""Addresses of the labels floor: what is printed and what a scan opens."""

from django.urls import path  # noqa: F401 - used as the blocks fill

urlpatterns = [
    # -- printing labels and stocks
    # -- what a scan opens
]
