"""The buyer's paths. Certificate paths are in capitals, which makes the printed code coarser."""

from django.urls import path

from registry.web.buyer import views

app_name = "buyer"
urlpatterns = [
    path("", views.look_up, name="look-up"),
    path("find/", views.find, name="find"),
    path("dogs/<slug:public_id>/", views.dog, name="dog"),
    path("C/<str:typed>.pdf", views.certificate_pdf, name="certificate-pdf"),
    path("C/<str:typed>/code.svg", views.certificate_code, name="certificate-code"),
    path("C/<str:typed>", views.certificate, name="certificate"),
    path("C/<str:typed>/", views.certificate_elsewhere, name="certificate-slash"),
    path("c/<str:typed>", views.certificate_elsewhere, name="certificate-small"),
    path("c/<str:typed>/", views.certificate_elsewhere, name="certificate-small-slash"),
    path("help/", views.help_page, name="help"),
    path("privacy/", views.privacy, name="privacy"),
]
