"""Every address of the program: the API below /api/v1/, pages beside it."""

from django.urls import URLPattern, URLResolver

urlpatterns: list[URLPattern | URLResolver] = []
