"""The paths of the registrar's room."""

from django.urls import path

from registry.web.registrar import clinics, dogs, later, merging, queue, review

app_name = "registrar"

urlpatterns = [
    path("", queue.waiting, name="queue"),
    path("approve/", queue.confirm_together, name="approve-together"),
    path("approve/done/", queue.approve_together, name="approved-together"),
    path("results/<str:evaluation_id>/", review.result, name="result"),
    path("results/<str:evaluation_id>/approve/", review.approve, name="approve"),
    path("results/<str:evaluation_id>/return/", review.send_back, name="return"),
    path("results/<str:evaluation_id>/decline/", review.decline, name="decline"),
    path("results/<str:evaluation_id>/revoke/", later.revoke, name="revoke"),
    path("results/<str:evaluation_id>/replace/", later.replace, name="replace"),
    path("second-looks/<str:look_id>/", later.leave, name="leave"),
    path("clinics/", clinics.clinics, name="clinics"),
    path("files/<str:evidence_id>/", review.evidence, name="evidence"),
    path("dogs/<str:dog_id>/", dogs.dog, name="dog"),
    path("dogs/<str:dog_id>/confirm/", dogs.confirm, name="confirm-dog"),
    path("dogs/<str:dog_id>/correct/", dogs.correct, name="correct-dog"),
    path("dogs/<str:dog_id>/merge/", merging.merge, name="merge-dog"),
]
