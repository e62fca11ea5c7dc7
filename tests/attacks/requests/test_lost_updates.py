"""Whoever sends If-Match overwrites nothing that they have not read, whoever else writes at the
same moment; and the tag that an answer carries is taken next."""

import json
from collections import Counter
from collections.abc import Callable
from typing import Any, NamedTuple

import pytest
from django.core.cache import cache
from django.urls import get_resolver

from gearroom.core.api.views import UseCaseView
from gearroom.core.models import Membership, Room
from gearroom.core.rules.roles import Role
from kits.models import Kit, Webhook
from kits.services.lists import drafts
from kits.services.stock import shelves
from kits.services.weather import locations
from kits.services.webhooks import webhooks
from tests.core.api.made import Caller, at_once, is_problem, somebody
from tests.kits import factories as make

TRIP = {
    "name": "Hill day",
    "room": "main-store",
    "departs_at": "2027-05-04T08:30:00+01:00",
    "returns_at": "2027-05-04T17:30:00+01:00",
    "people": 8,
    "hazards": ["hill"],
}


class Change(NamedTuple):
    """A call that takes If-Match: what makes its thing and gives its address, and the nth body."""

    route: str
    made: Callable[[make.World, Caller], str]
    body: Callable[[int], dict[str, Any]]
    method: str = "PATCH"


def _trip(world: make.World, call: Caller) -> str:
    assert call("PUT", "trips/bookings/B-1/", TRIP).status_code == 201
    return "trips/bookings/B-1/"


def _draft(world: make.World, call: Caller) -> str:
    draft = drafts.new_draft(make.act(), world.version.packing_list)
    return f"packing-lists/{draft.packing_list_id}/versions/{draft.number}/"


def _rate(world: make.World, call: Caller) -> str:
    Membership.objects.get_or_create(person=call.token.user.person, role=Role.ADVISER.value)
    return "plans/rates/blister/any/"


def webhook_of(call: Caller) -> Webhook:
    act = make.act(call.token.user.person)
    webhook, _secret = webhooks.add(
        act, name="Bookings", address="https://booking.example/", types=[], room=None
    )
    return webhooks.change(act, webhook, on=False)


CHANGES = [
    Change("tokens/<int:id>/", lambda w, c: f"tokens/{c.token.pk}/", lambda n: {"name": f"t{n}"}),
    Change("rooms/<slug:room>/", lambda w, c: "rooms/main-store/", lambda n: {"phone": f"0{n}"}),
    Change("people/<int:id>/", lambda w, c: f"people/{w.guide.pk}/", lambda n: {"phone": f"0{n}"}),
    Change(
        "notices/settings/", lambda w, c: "notices/settings/", lambda n: {"minutes_a_kit": 1 + n}
    ),
    Change("kits/<str:kit>/", lambda w, c: "kits/DAY-01/", lambda n: {"bag": f"bag {n}"}),
    Change(
        "webhooks/<int:id>/",
        lambda w, c: f"webhooks/{webhook_of(c).pk}/",
        lambda n: {"name": f"Bookings {n}", "on": True},
    ),
    Change(
        "places/<int:id>/",
        lambda w, c: f"places/{shelves.add_shelf(make.act(), w.store, 'Z9').pk}/",
        lambda n: {"position": n},
    ),
    Change(
        "locations/<int:id>/",
        lambda w, c: f"locations/{locations.add_location(make.act(), w.store, name='Van').pk}/",
        lambda n: {"name": f"Van {n}"},
    ),
    Change(
        "items/<int:id>/", lambda w, c: f"items/{w.shears.pk}/", lambda n: {"lead_time_days": n}
    ),
    Change(
        "packing-lists/<int:id>/versions/<int:number>/",
        _draft,
        lambda n: {"people": 1 + n, "days": 1, "sections": []},
        "PUT",
    ),
    Change(
        "trips/<slug:source>/<str:reference>/",
        _trip,
        lambda n: {**TRIP, "people": 10 + n},
        "PUT",
    ),
    Change(
        "plans/rates/<slug:need>/<slug:activity>/",
        _rate,
        lambda n: {"per_1000": str(1 + n)},
        "PUT",
    ),
]
NAMES = [change.route for change in CHANGES]


def _tag(call: Caller, change: Change, path: str) -> str:
    """Its tag as it is now: of what a GET shows, or of a change where there is no GET."""
    shown = call.get(path)
    if shown.status_code == 405:
        shown = call(change.method, path, change.body(90))
    assert shown.status_code == 200, shown.content
    return str(shown["ETag"])


@pytest.fixture
def world() -> make.World:
    cache.clear()
    return make.world()


@pytest.fixture
def call(world: make.World) -> Caller:
    return Caller(somebody("admin", Role.ADMINISTRATOR))


def test_every_call_that_takes_if_match_is_tried_here() -> None:
    routes = {
        str(pattern.pattern)
        for resolver in get_resolver().url_patterns
        if str(resolver.pattern) == "api/v1/"
        for pattern in getattr(resolver, "url_patterns", ())
        if issubclass(getattr(pattern.callback, "cls", object), UseCaseView)
        and pattern.callback.cls.method in ("patch", "put")
    }
    assert routes == set(NAMES)


@pytest.mark.django_db
@pytest.mark.parametrize("change", CHANGES, ids=NAMES)
def test_a_wrong_tag_is_refused_and_the_tag_of_an_answer_is_taken_next(
    world: make.World, call: Caller, change: Change
) -> None:
    path = change.made(world, call)
    tag = _tag(call, change, path)
    stale = is_problem(
        call(change.method, path, change.body(1), if_match='"x"'), 412, "changed-since"
    )
    assert stale["current"] == tag
    for number in (2, 3):
        answer = call(change.method, path, change.body(number), if_match=tag)
        assert answer.status_code == 200, answer.content
        assert answer["ETag"] != tag
        tag = answer["ETag"]
        again = call.get(path)
        assert again.status_code == 405 or again["ETag"] == tag
    assert call(change.method, path, change.body(4), if_match="*").status_code == 200
    assert call(change.method, path, change.body(5)).status_code == 200


@pytest.mark.parametrize("change", CHANGES, ids=NAMES)
def test_of_twelve_changes_at_once_on_one_reading_one_is_made(
    open_database: str, change: Change
) -> None:
    cache.clear()
    world = make.world()
    call = Caller(somebody("admin", Role.ADMINISTRATOR))
    path = change.made(world, call)
    tag = _tag(call, change, path)
    answers = at_once(
        12, lambda n: call(change.method, path, change.body(n + 20), if_match=tag).status_code
    )
    assert Counter(answers) == {200: 1, 412: 11}


@pytest.mark.django_db
def test_what_is_not_there_matches_no_tag(world: make.World, call: Caller) -> None:
    for tag in ("*", '"x"'):
        answer = call("PUT", "trips/bookings/B-2/", TRIP, if_match=tag)
        assert "current" not in is_problem(answer, 412, "changed-since")
    made = call("PUT", "trips/bookings/B-2/", TRIP)
    assert made.status_code == 201
    assert made["ETag"] == call.get("trips/bookings/B-2/")["ETag"]


@pytest.mark.django_db
def test_a_door_that_does_not_look_at_the_tag_does_nothing(
    world: make.World, call: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A new call cannot take If-Match and pass it over."""
    from gearroom.core.api.rooms import OneRoom

    def careless(self: Any, act: Any, data: Any) -> tuple[int, Room]:
        Room.objects.filter(slug="main-store").update(phone="99")
        return 200, Room.objects.get(slug="main-store")

    monkeypatch.setattr(OneRoom, "perform", careless)
    call.client.raise_request_exception = False
    assert call.patch("rooms/main-store/", {}, if_match="*").status_code == 500
    assert not Room.objects.filter(phone="99").exists()
    assert call.patch("rooms/main-store/", {}).status_code == 200
    assert Kit.objects.exists() and json.loads(call.get("rooms/main-store/").content)
