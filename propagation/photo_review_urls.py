"""Addresses of the review of photos."""

from django.urls import path

from propagation.views import photo_review

urlpatterns = [
    path("photos/review/", photo_review.photo_review, name="photo_review"),
    path("photos/<int:pk>/review/", photo_review.photo_review_one, name="photo_review_one"),
    path("photos/<int:pk>/reviewed/", photo_review.photo_reviewed, name="photo_reviewed"),
    path("photos/<int:pk>/outline/", photo_review.photo_outline, name="photo_outline"),
    path("photos/<int:pk>/outline/propose/", photo_review.photo_propose, name="photo_propose"),
    path("photos/<int:pk>/scale/", photo_review.photo_scale, name="photo_scale"),
]
