"""The buyer's paths. Certificate paths are in capitals, which makes the printed code coarser."""

from django.urls import path

from registry.web.buyer import (
    ahead,
    announced,
    breeds,
    course,
    credentials,
    explorer,
    owner,
    public_log,
    security_txt,
    views,
)

app_name = "buyer"
urlpatterns = [
    path("", views.look_up, name="look-up"),
    path("find/", views.find, name="find"),
    path("dogs/<slug:public_id>/", views.dog, name="dog"),
    path("C/<str:typed>.pdf", views.certificate_pdf, name="certificate-pdf"),
    path("C/<str:typed>.json", credentials.credential, name="credential"),
    path("C/<str:typed>/code.svg", views.certificate_code, name="certificate-code"),
    path("C/<str:typed>", views.certificate, name="certificate"),
    path("C/<str:typed>/", views.certificate_elsewhere, name="certificate-slash"),
    path("c/<str:typed>", views.certificate_elsewhere, name="certificate-small"),
    path("c/<str:typed>/", views.certificate_elsewhere, name="certificate-small-slash"),
    path("owner/<str:token>/", owner.result, name="owner"),
    path("owner/<str:token>/certificate.pdf", owner.certificate_pdf, name="owner-pdf"),
    path("breeds/", breeds.breeds, name="breeds"),
    path("breeds/<slug:slug>/", breeds.breed, name="breed"),
    path("breeds/<slug:slug>/open/", announced.still_open, name="open"),
    path("breeds/<slug:slug>/complete/", announced.complete, name="complete"),
    path("breeds/<slug:slug>/complete.csv", announced.complete_csv, name="complete-csv"),
    path("breeds/<slug:slug>/<slug:trait_slug>/", breeds.trait, name="distribution"),
    path("breeds/<slug:slug>/<slug:trait_slug>/cells.csv", breeds.cells_csv, name="cells-csv"),
    path("breeds/<slug:slug>/<slug:trait_slug>/cells.json", breeds.cells_json, name="cells-json"),
    path("breeds/<slug:slug>/<slug:trait_slug>/explore/", explorer.explore, name="explore"),
    path("breeds/<slug:slug>/<slug:trait_slug>/course/", course.course, name="course"),
    path("breeds/<slug:slug>/<slug:trait_slug>/course.csv", course.course_csv, name="course-csv"),
    path("breeds/<slug:slug>/<slug:trait_slug>/ahead/", ahead.ahead, name="ahead"),
    path("issuer", credentials.issuer, name="issuer"),
    path("status/<slug:purpose>/<int:block>", credentials.status, name="status"),
    path("contexts/certificate/v<int:version>", credentials.context, name="context"),
    path("vocabulary/", credentials.vocabulary, name="vocabulary"),
    path("check/", credentials.check, name="check-file"),
    path("log/", public_log.log, name="log"),
    path("log/checkpoint", public_log.checkpoint, name="checkpoint"),
    path("help/", views.help_page, name="help"),
    path("privacy/", views.privacy, name="privacy"),
    path(".well-known/security.txt", security_txt.security_txt, name="security-txt"),
]
