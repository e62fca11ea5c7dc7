"""The addresses of kits."""

from django.urls import URLPattern, path

from gearroom.site.web.kits import count, kit_settings, kits, record

urlpatterns: list[URLPattern] = [
    path("kits/", kits.list_kits, name="kits"),
    path("kits/<str:kit>/", kits.show_kit, name="kit"),
    path("kits/<str:kit>/as-of/", record.as_of, name="kit-as-of"),
    path("kits/<str:kit>/history/", record.list_acts, name="kit-history"),
    path("kits/<str:kit>/count/", count.count, name="kit-count"),
    path("kits/<str:kit>/check/", kits.check_instrument, name="check-instrument"),
    path("kits/<str:kit>/pass/", kits.pass_on, name="pass-on"),
    path("kits/<str:kit>/withhold/", kits.withhold, name="withhold"),
    path("kits/<str:kit>/release/", kits.release, name="release"),
    path("kits/<str:kit>/take-out/", kits.remove_expired, name="take-out"),
    path("kits/<str:kit>/keeping/", kit_settings.change_settings, name="keep-kit"),
]
