"""The addresses of scanning and what follows from it."""

from django.urls import URLPattern, path, re_path

from gearroom.site.web.scan import labels, pictures, recent, scan

urlpatterns: list[URLPattern] = [
    path("scan/", scan.scan, name="scan"),
    re_path(r"^[Ll]/(?P<code>[^/]{1,40})/?$", labels.label, name="label"),
    path("undo/<int:entry>/", recent.undo, name="undo"),
    path("undo/<int:entry>/really/", recent.correct_kit, name="really"),
    path("kits/<str:kit>/photos/<int:number>/", pictures.photo, name="photo"),
    path("labels/<str:code>/bind/", labels.bind_label, name="bind-label"),
]
