"""The addresses of what works without a network."""

from django.urls import URLPattern, URLResolver, path

from gearroom.site.web.overview import phone_copy

urlpatterns: list[URLPattern | URLResolver] = [
    path("app.webmanifest", phone_copy.manifest, name="manifest"),
    path("worker.js", phone_copy.worker, name="worker"),
    path("offline/", phone_copy.shell, name="offline"),
    path("offline/ready/", phone_copy.ready, name="offline-ready"),
    path("offline/kits/", phone_copy.kits, name="offline-kits"),
]
