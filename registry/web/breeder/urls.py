"""The breeder's paths."""

from django.urls import path

from registry.web.breeder import views

app_name = "breeder"
urlpatterns = [
    path("breeding/", views.choose, name="choose"),
    path("dogs/<slug:public_id>/mates/", views.mates, name="mates"),
    path("dogs/<slug:public_id>/mates/<slug:other_id>/", views.pair, name="pair"),
    path("dogs/<slug:public_id>/pairs/", views.pairs, name="pairs"),
    path("dogs/<slug:public_id>/litter/", views.litter, name="litter"),
]
