"""The addresses of the pages, by subject."""

from django.urls import URLResolver, include, path

_SUBJECTS = (
    "accounts",
    "custody",
    "kits",
    "labelling",
    "lists",
    "notices",
    "overview",
    "page",
    "people",
    "planning",
    "recalls",
    "restocking",
    "scan",
    "stock",
    "trips",
)

urlpatterns: list[URLResolver] = [
    path("", include(f"gearroom.site.web.{subject}.urls")) for subject in _SUBJECTS
]
