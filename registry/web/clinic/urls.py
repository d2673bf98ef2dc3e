"""The paths of the clinic's room."""

from django.urls import path

from registry.web.clinic import announcements, dogs, drafts, files, home, results, section_pages

app_name = "clinic"

urlpatterns = [
    path("", home.home, name="home"),
    path("results/new/", dogs.identify, name="identify"),
    path("results/new/start/", dogs.start, name="start"),
    path("results/new/register/", dogs.register, name="register"),
    path("announcements/new/", announcements.new, name="announce"),
    path("announcements/<str:announcement_id>/result/", announcements.begin, name="begin"),
    path("announcements/<str:announcement_id>/withdraw/", announcements.withdraw, name="call-off"),
    path("drafts/<str:draft_id>/", drafts.tasks, name="draft"),
    path("drafts/<str:draft_id>/examination/", section_pages.examination, name="examination"),
    path("drafts/<str:draft_id>/measurements/", section_pages.measurements, name="measurements"),
    path("drafts/<str:draft_id>/owner/", section_pages.owner, name="owner"),
    path("drafts/<str:draft_id>/files/", files.files, name="files"),
    path("drafts/<str:draft_id>/files/<str:evidence_id>/remove/", files.remove, name="remove-file"),
    path("drafts/<str:draft_id>/check/", drafts.check, name="check"),
    path("drafts/<str:draft_id>/discard/", drafts.discard, name="discard"),
    path("results/<str:evaluation_id>/", results.result, name="result"),
    path("results/<str:evaluation_id>/sent/", results.sent, name="sent"),
    path("results/<str:evaluation_id>/correct/", results.correct, name="correct"),
    path("results/<str:evaluation_id>/withdraw/", results.withdraw, name="withdraw"),
    path("files/<str:evidence_id>/", files.download, name="download"),
]
