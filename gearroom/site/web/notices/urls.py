"""The addresses of notifications."""

from django.urls import URLPattern, path

from gearroom.site.web.notices import notices

urlpatterns: list[URLPattern] = [
    path("notices/", notices.log, name="notices"),
    path("notices/weekly/", notices.next_weekly, name="weekly"),
    path("notices/settings/", notices.settings, name="notice-settings"),
    path("notices/calendar/", notices.new_calendar, name="new-calendar"),
    path("notices/calendar/end/", notices.end_calendar, name="end-calendar"),
    path("notices/<int:notice>/", notices.notice, name="notice"),
    path("notices/<int:notice>/again/", notices.send_again, name="notice-again"),
]
