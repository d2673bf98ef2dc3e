"""The paths of the HTML face: each room keeps its own list and its namespace."""

from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("registry.web.buyer.urls")),
    path("", include("registry.web.breeder.urls")),
    path("", include("registry.web.account.urls")),
    path("clinic/", include("registry.web.clinic.urls")),
    path("registrar/", include("registry.web.registrar.urls")),
    path("secretary/", include("registry.web.secretary.urls")),
]
