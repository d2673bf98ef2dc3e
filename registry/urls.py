"""The address book: which room answers which path.

Each face keeps its own patterns in its own `urls.py`; this file only says where
they hang. The web face gives its five rooms their namespaces itself.
"""

from django.urls import URLPattern, URLResolver, include, path

from registry.health import healthz

urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", healthz, name="healthz"),
    path("api/", include("api.urls")),
    path("", include("registry.web.urls")),
]
# Called by Django when a request failed.
handler500 = "registry.web.faults.fault"
