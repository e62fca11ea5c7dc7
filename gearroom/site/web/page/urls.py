"""The addresses of help and settings."""

from django.urls import URLPattern, path

from gearroom.site.web.page import help as help_pages, settings

urlpatterns: list[URLPattern] = [
    path("settings/", settings.overview, name="settings"),
    path("help/", help_pages.help_for, name="help"),
    path("help/<slug:role>/", help_pages.help_for, name="help-for"),
]
