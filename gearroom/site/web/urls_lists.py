"""The addresses of kit lists, trips and stripping."""

from django.urls import URLPattern, path

from gearroom.site.web import due, emptying, list_editing, lists, stripping, trips

_VERSION = "lists/<int:id>/<int:number>/"

urlpatterns: list[URLPattern] = [
    path("lists/", lists.every, name="lists"),
    path("lists/<int:id>/", lists.one, name="list"),
    path(_VERSION, lists.version, name="list-version"),
    path(f"{_VERSION}new-draft/", lists.new_draft, name="list-new-draft"),
    path(f"{_VERSION}publish/", lists.publish, name="list-publish"),
    path(f"{_VERSION}sign/", lists.sign, name="list-sign"),
    path(f"{_VERSION}compare/", lists.compare, name="list-compare"),
    path(f"{_VERSION}effect/", lists.effect, name="list-effect"),
    path(f"{_VERSION}follow/", lists.follow, name="list-follow"),
    path(f"{_VERSION}edit/", list_editing.edit, name="list-edit"),
    path(f"{_VERSION}sections/<slug:key>/", list_editing.section, name="list-section"),
    path(f"{_VERSION}sections/<slug:key>/instead/", list_editing.instead, name="list-instead"),
    path("trips/", trips.every, name="trips"),
    path("trips/calendar/", trips.month, name="trips-month"),
    path("trips/add/", trips.add, name="trip-add"),
    path("trips/<int:trip>/", trips.one, name="trip"),
    path("trips/<int:trip>/reserve/", trips.reserve, name="trip-reserve"),
    path("trips/<int:trip>/release/", trips.release, name="trip-release"),
    path("trips/<int:trip>/edit/", trips.edit, name="trip-edit"),
    path("trips/<int:trip>/extend/", due.extend, name="trip-extend"),
    path("strip/", stripping.start, name="strip"),
    path("kits/<str:kit>/strip/", stripping.strip, name="strip-kit"),
    path("kits/<str:kit>/empty/", emptying.empty, name="empty-kit"),
    path("kits/<str:kit>/strip/new/", stripping.new_thing, name="strip-new"),
]
