"""Addresses of the inventory floor."""

from django.urls import path

from inventory.views import acquisitions

urlpatterns = [
    # -- the ready list, holds, prices
    # -- contacts
    # -- what comes in
    path("acquire/", acquisitions.acquire, name="acquire"),
    path("acquire/colony/", acquisitions.acquire_colony, name="acquire_colony"),
    path("acquire/plugs/", acquisitions.acquire_plugs, name="acquire_plugs"),
    path("acquire/pack/", acquisitions.acquire_pack, name="acquire_pack"),
    path("acquisitions/<int:pk>/", acquisitions.acquisition, name="acquisition"),
    path("acquisitions/<int:pk>/edit/", acquisitions.acquisition_edit, name="acquisition_edit"),
]
