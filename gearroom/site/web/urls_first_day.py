"""The addresses of the first day and of help."""

from django.urls import URLPattern, path

from gearroom.site.web.overview import first_day
from gearroom.site.web.page import help as help_pages

urlpatterns: list[URLPattern] = [
    path("add-kit/", first_day.add_kit, name="add-kit"),
    path("first-day/", first_day.first_day, name="first-day"),
    path("first-day/workbook/", first_day.workbook, name="start-workbook"),
    path("first-day/workbook/empty/", first_day.blank_workbook, name="blank-workbook"),
    path("help/", help_pages.help_for, name="help"),
    path("help/<slug:role>/", help_pages.help_for, name="help-for"),
]
