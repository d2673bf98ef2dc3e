"""The address book: which room answers which path. Each face keeps its own patterns."""

from django.urls import URLPattern, URLResolver

urlpatterns: list[URLPattern | URLResolver] = []
