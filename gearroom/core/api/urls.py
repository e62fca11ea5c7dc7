"""The API's addresses that are no kit's business: its schema and pages, people, rooms, tokens."""

from typing import Any

from django.urls import path
from drf_spectacular.views import SpectacularSwaggerSplitView

from gearroom.core.api import people, rooms, tokens
from gearroom.core.api.openapi import document

_PUBLIC: dict[str, Any] = {"permission_classes": [], "authentication_classes": []}

urlpatterns = [
    path("schema/", document.Schema.as_view(), name="schema"),
    path(
        "docs/",
        SpectacularSwaggerSplitView.as_view(template_name="core/api_docs.html", **_PUBLIC),
        name="docs",
    ),
    path("rooms/", rooms.Rooms.as_view()),
    path("rooms/<slug:room>/", rooms.OneRoom.as_view()),
    path("people/", people.People.as_view()),
    path("people/holders/", people.Holders.as_view()),
    path("people/<int:id>/", people.OnePerson.as_view()),
    path("people/<int:id>/left/", people.Departure.as_view()),
    path("people/<int:id>/back/", people.Return.as_view()),
    path("people/<int:id>/sign-in/", people.SignIn.as_view()),
    path("people/<int:id>/roles/", people.AddRole.as_view()),
    path("people/<int:id>/roles/end/", people.EndRole.as_view()),
    path("tokens/", tokens.Tokens.as_view()),
    path("tokens/<int:id>/", tokens.OneToken.as_view()),
    path("tokens/<int:id>/revoke/", tokens.Revoke.as_view()),
]
