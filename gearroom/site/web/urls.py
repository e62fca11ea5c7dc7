"""The pages' addresses."""

from django.urls import URLPattern, URLResolver, include, path, re_path

from gearroom.site.web.kits import checks, count, kits, record
from gearroom.site.web.overview import board
from gearroom.site.web.scan import label, scan

urlpatterns: list[URLPattern | URLResolver] = [
    path("", board.board, name="board"),
    path("board/lines/", board.lines, name="board-lines"),
    path("scan/", scan.scan, name="scan"),
    path("", include("gearroom.site.web.urls_hatch")),
    re_path(r"^[Ll]/(?P<code>[^/]{1,40})/?$", label.label, name="label"),
    path("", include("gearroom.site.web.urls_offline")),
    path("kits/", kits.every, name="kits"),
    path("kits/<str:kit>/", kits.one, name="kit"),
    path("kits/<str:kit>/as-of/", record.as_of, name="kit-as-of"),
    path("kits/<str:kit>/history/", record.every_act, name="kit-history"),
    path("kits/<str:kit>/count/", count.count, name="kit-count"),
    path("kits/<str:kit>/check/", checks.check, name="check-instrument"),
    path("kits/<str:kit>/pass/", kits.pass_on, name="pass-on"),
    path("kits/<str:kit>/withhold/", kits.withhold, name="withhold"),
    path("kits/<str:kit>/release/", kits.release, name="release"),
    path("kits/<str:kit>/take-out/", kits.take_out, name="take-out"),
    path("", include("gearroom.site.web.urls_lists")),
    path("stock/", include("gearroom.site.web.urls_stock")),
    path("", include("gearroom.site.web.urls_desk")),
    path("", include("gearroom.site.web.urls_first_day")),
]
