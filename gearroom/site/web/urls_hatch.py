"""The addresses of what is done at the hatch besides scanning."""

from django.urls import URLPattern, URLResolver, path

from gearroom.site.web import recent

urlpatterns: list[URLPattern | URLResolver] = [
    path("undo/<int:entry>/", recent.undo, name="undo"),
    path("undo/<int:entry>/really/", recent.really, name="really"),
]
