"""The addresses of what works without a network."""

from django.urls import URLPattern, URLResolver, path

from gearroom.site.web import offline

urlpatterns: list[URLPattern | URLResolver] = [
    path("app.webmanifest", offline.manifest, name="manifest"),
    path("worker.js", offline.worker, name="worker"),
    path("offline/", offline.shell, name="offline"),
    path("offline/ready/", offline.ready, name="offline-ready"),
    path("offline/kits/", offline.kits, name="offline-kits"),
]
