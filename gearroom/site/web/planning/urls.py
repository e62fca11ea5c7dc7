"""The addresses of planning."""

from django.urls import URLPattern, path

from gearroom.site.web.planning import past_use, plans, rates, replays, vocabulary

_VERSION = "lists/<int:id>/<int:number>/"

urlpatterns: list[URLPattern] = [
    path(f"{_VERSION}plan/", plans.of_version, name="list-plan"),
    path(f"{_VERSION}costs/", plans.costs_of_version, name="list-costs"),
    path(f"{_VERSION}replay/", replays.replay, name="list-replay"),
    path("kits/<str:kit>/plan/", plans.of_kit, name="kit-plan"),
    path("kits/<str:kit>/costs/", plans.costs_of_kit, name="kit-costs"),
    path("needs/", vocabulary.words, name="needs"),
    path("stock/<int:item>/serves/", vocabulary.serves, name="serves"),
    path("past-use/", past_use.past_use, name="past-use"),
    path("back-test/", past_use.back_test, name="back-test"),
    path("rates/", rates.all_rates, name="rates"),
    path("rates/<slug:need>/", rates.one_need, name="rate"),
]
