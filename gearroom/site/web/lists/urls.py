"""The addresses of kit lists."""

from django.urls import URLPattern, path

from gearroom.site.web.lists import draft_editing, packing_lists, signatures

_VERSION = "lists/<int:id>/<int:number>/"

urlpatterns: list[URLPattern] = [
    path("sign/<str:signature>/", signatures.by_link, name="extend-signature"),
    path("lists/", packing_lists.all_lists, name="lists"),
    path("lists/<int:id>/", packing_lists.newest, name="list"),
    path(_VERSION, packing_lists.version, name="list-version"),
    path(f"{_VERSION}new-draft/", packing_lists.new_draft, name="list-new-draft"),
    path(f"{_VERSION}publish/", packing_lists.publish, name="list-publish"),
    path(f"{_VERSION}sign/", packing_lists.sign, name="list-sign"),
    path(f"{_VERSION}compare/", packing_lists.compare, name="list-compare"),
    path(f"{_VERSION}effect/", packing_lists.effect, name="list-effect"),
    path(f"{_VERSION}follow/", packing_lists.follow, name="list-follow"),
    path(f"{_VERSION}edit/", draft_editing.edit, name="list-edit"),
    path(f"{_VERSION}sections/<slug:key>/", draft_editing.section, name="list-section"),
    path(f"{_VERSION}sections/<slug:key>/instead/", draft_editing.instead, name="list-instead"),
]
