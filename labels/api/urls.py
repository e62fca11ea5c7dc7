"""The addresses of this app below /api/v1/."""

from django.urls import URLPattern, URLResolver, path

from labels.api import labels, paper, scans, table_files

urlpatterns: list[URLPattern | URLResolver] = [
    path("scans/", scans.Scans.as_view()),
    path("labels/", labels.Labels.as_view()),
    path("labels/sheets/", paper.Sheets.as_view()),
    path("labels/layouts/", paper.Layouts.as_view()),
    path("labels/test-page/", paper.TestPage.as_view()),
    path("labels/calibration/", paper.Calibration.as_view()),
    path("labels/<str:code>/", labels.OneLabel.as_view()),
    path("labels/<str:code>/bind/", labels.Bind.as_view()),
    path("labels/<str:code>/cancel/", labels.Cancel.as_view()),
    path("labels/<str:code>/image/", paper.Picture.as_view()),
    path("tables/", table_files.Tables.as_view()),
    path("exports/<str:table>/", table_files.Export.as_view()),
    path("imports/<str:table>/", table_files.Import.as_view()),
    path("kits/<str:kit>/tag/", paper.Tag.as_view()),
    path("kits/<str:kit>/card/", paper.Card.as_view()),
    path("kits/<str:kit>/record/", paper.KitRecord.as_view()),
    path("rooms/<str:room>/sign-out-sheet/", paper.SignOutSheet.as_view()),
    path("rooms/<str:room>/wall-calendar/", paper.WallCalendar.as_view()),
]
