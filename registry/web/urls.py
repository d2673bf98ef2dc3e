"""The paths of the HTML face: each room keeps its own list and its namespace."""

from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("registry.web.buyer.urls")),
    path("registrar/", include("registry.web.registrar.urls")),
]
