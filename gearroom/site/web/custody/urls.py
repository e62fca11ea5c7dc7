"""The addresses of taking out, handing back, and what is asked of whoever had a kit."""

from django.urls import URLPattern, path

from gearroom.site.web.custody import clearances, due_times, hand_back, returns, use_requests

urlpatterns: list[URLPattern] = [
    path("kits/<str:kit>/hand-back/", hand_back.hand_back, name="hand-back"),
    path("kits/<str:kit>/due/", due_times.set_due, name="set-due"),
    path("kits/<str:kit>/ask/", use_requests.ask, name="ask"),
    path("clearances/", clearances.every, name="clearances"),
    path("cleared/<str:said>/", clearances.by_link, name="cleared"),
    path("away/", returns.every, name="away"),
    path("kits/<str:kit>/not-ours/", returns.participants, name="not-ours"),
    path("ask/", use_requests.ask_all, name="ask-all"),
    path("used/<str:said>/", use_requests.tell, name="used"),
    path("used/<str:said>/<int:time>/", use_requests.tell, name="used-of"),
    path("trips/<int:trip>/extend/", due_times.extend, name="trip-extend"),
]
