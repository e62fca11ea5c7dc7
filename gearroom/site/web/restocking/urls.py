"""The addresses of sorting, breaking down and emptying kits."""

from django.urls import URLPattern, path

from gearroom.site.web.restocking import emptying, sorting, stripping

urlpatterns: list[URLPattern] = [
    path("kits/<str:kit>/sort/", sorting.sort, name="sort"),
    path("kits/<str:kit>/seal/", sorting.reseal, name="reseal"),
    path("strip/", stripping.start, name="strip"),
    path("kits/<str:kit>/strip/", stripping.strip, name="strip-kit"),
    path("kits/<str:kit>/empty/", emptying.empty, name="empty-kit"),
    path("kits/<str:kit>/strip/new/", stripping.new_item, name="strip-new"),
]
