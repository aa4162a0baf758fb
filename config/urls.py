"""Addresses. Each app brings its own; names are flat, because a keeper's words are."""

from django.urls import include, path

urlpatterns = [
    path("", include("propagation.urls")),
    path("", include("inventory.urls")),
    path("", include("labels.urls")),
]
