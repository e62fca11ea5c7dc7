"""Every address of the program: the API below /api/v1/, pages beside it."""

from django.urls import URLPattern, URLResolver, path

from gearroom.site.web.health import health

urlpatterns: list[URLPattern | URLResolver] = [
    path("health/", health, name="health"),
]
