"""The addresses of taking out, handing back, and what is asked of whoever had a kit."""

from django.urls import URLPattern, path

from gearroom.site.web.custody import hand_back, links

urlpatterns: list[URLPattern] = [
    path("kits/<str:kit>/hand-back/", hand_back.hand_back, name="hand-back"),
    path("kits/<str:kit>/used/", hand_back.log_use, name="used-from"),
    path("kits/<str:kit>/due/", hand_back.set_due, name="set-due"),
    path("kits/<str:kit>/ask/", links.request_use, name="ask"),
    path("clearances/", links.list_clearances, name="clearances"),
    path("cleared/<str:link>/", links.answer_by_link, name="cleared"),
    path("away/", hand_back.list_away, name="away"),
    path("kits/<str:kit>/not-ours/", hand_back.report_participants_own, name="not-ours"),
    path("ask/", links.request_all_use, name="ask-all"),
    path("used/<str:link>/", links.report_use, name="used"),
    path("used/<str:link>/<int:time>/", links.report_use, name="used-of"),
    path("trips/<int:trip>/extend/", hand_back.extend, name="trip-extend"),
]
