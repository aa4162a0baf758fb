"""Addresses of claims."""

from django.urls import path

from inventory.views import claims

urlpatterns = [
    path("claims/", claims.claims, name="claims"),
    path("claims/<int:pk>/", claims.claim, name="claim"),
    path("claims/<int:pk>/settle/", claims.claim_settle, name="claim_settle"),
    path("claims/<int:pk>/pictures/", claims.claim_add_picture, name="claim_add_picture"),
    path("claims/pictures/<int:pk>/", claims.claim_picture, name="claim_picture"),
    path("claims/pictures/<int:pk>/small/", claims.claim_thumbnail, name="claim_thumbnail"),
    path("sales/lines/<int:line_pk>/claim/", claims.claim_new, name="claim_new"),
]
