"""The paths of the HTML face: each room keeps its own list and its namespace."""

from django.urls import URLPattern, URLResolver

urlpatterns: list[URLPattern | URLResolver] = []
