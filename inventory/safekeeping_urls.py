"""Addresses of what contacts keep for the owner."""

from django.urls import path

from inventory.views import safekeeping

urlpatterns = [
    path("safekeeping/", safekeeping.safekeeping, name="safekeeping"),
    path("safekeeping/new/", safekeeping.safekeeping_new, name="safekeeping_new"),
    path("safekeeping/<int:pk>/", safekeeping.safekeeping_one, name="safekeeping_one"),
    path("safekeeping/<int:pk>/heard/", safekeeping.safekeeping_heard, name="safekeeping_heard"),
    path("safekeeping/<int:pk>/back/", safekeeping.safekeeping_back, name="safekeeping_back"),
    path("safekeeping/<int:pk>/end/", safekeeping.safekeeping_end, name="safekeeping_end"),
]
