"""The addresses of trips."""

from django.urls import URLPattern, path

from gearroom.site.web.trips import trips

urlpatterns: list[URLPattern] = [
    path("trips/", trips.list_trips, name="trips"),
    path("trips/calendar/", trips.month, name="trips-month"),
    path("trips/add/", trips.add, name="trip-add"),
    path("trips/<int:trip>/", trips.show_trip, name="trip"),
    path("trips/<int:trip>/reserve/", trips.reserve, name="trip-reserve"),
    path("trips/<int:trip>/release/", trips.release, name="trip-release"),
    path("trips/<int:trip>/edit/", trips.edit, name="trip-edit"),
]
