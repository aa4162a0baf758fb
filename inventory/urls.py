"""Addresses of the inventory floor."""

from django.urls import path  # noqa: F401 - used as the blocks fill

urlpatterns = [
    # -- the ready list, holds, prices
    # -- contacts
]
