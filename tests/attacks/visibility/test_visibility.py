"""Numbers guessed in every field that names something: what is of other rooms is not there, and
says no more of itself than what is in no room at all."""

import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from gearroom.core.models import Person
from gearroom.core.rules.roles import Role
from kits.models import Label, Trip
from kits.rules.lookup import label_codes
from tests.attacks.visibility.conftest import PHONE
from tests.core.api.made import Caller
from tests.kits import factories as make
from tests.present import present

pytestmark = pytest.mark.django_db

MISSING = 987_654


OF_OTHERS = (b"Zebedee", b"Zachary", PHONE.encode(), b"CAVE-9", b"Zip cave", b"ZEBEDEE")


def says_nothing(answer: Any, *but: Any) -> None:
    """No name, telephone or code of the hut is in an answer."""
    shown = [word for word in OF_OTHERS if word in answer.content and word not in but]
    assert shown == [], answer.content


# ------------------------------------------------------------------- people, by number and by tag
TRIP = {
    "name": "Hill", "room": "main-store", "people": 4,
    "departs_at": "2100-05-04T08:30:00+01:00", "returns_at": "2100-05-04T17:30:00+01:00",
}  # fmt: skip
NAMES_SOMEBODY: dict[str, Callable[[int], tuple[str, str, object]]] = {
    "check-out": lambda who: ("POST", "kits/DAY-01/check-out/", {"person": str(who)}),
    "check-out, gone already": lambda who: (
        "POST", "kits/DAY-01/check-out/", {"person": str(who), "already_gone": True}),
    "check-out, an emergency": lambda who: (
        "POST", "kits/DAY-01/check-out/", {"person": str(who), "emergency": True}),
    "cleared by": lambda who: ("POST", "kits/DAY-01/check-out/", {"cleared_by": str(who)}),
    "pass": lambda who: ("POST", "kits/DAY-01/pass/", {"person": str(who)}),
    "scan": lambda who: (
        "POST", "scans/", {"text": "DAY-01", "intent": "check-out", "holder": str(who)}),
    "scan, cleared by": lambda who: (
        "POST", "scans/", {"text": "DAY-01", "intent": "check-out", "cleared_by": str(who)}),
    "reserve": lambda who: (
        "POST", "reservations/", {"kit": "DAY-01", "trip": "TRIP", "person": str(who)}),
    "trip by hand": lambda who: ("POST", "trips/", {**TRIP, "leader": who}),
    "trip put": lambda who: ("PUT", "trips/bookings/B-1/", {**TRIP, "leader": who}),
    "label": lambda who: (
        "POST", "labels/", {"on": [{"person": str(who)}], "room": "main-store"}),
    "responsible": lambda who: (
        "PATCH", "kits/DAY-01/", {"name": "DAY-01", "responsible": who}),
    "deputy": lambda who: ("PATCH", "kits/DAY-01/", {"name": "DAY-01", "deputy": who}),
    "weekly": lambda who: ("GET", f"notices/weekly/?person={who}", None),
    "person": lambda who: ("GET", f"people/{who}/", None),
    "person changed": lambda who: ("PATCH", f"people/{who}/", {"phone": "1"}),
    "person left": lambda who: ("POST", f"people/{who}/left/", {}),
    "merged": lambda who: ("POST", f"people/{who}/merge/", {"into": "OWN"}),
    "merged into": lambda who: ("POST", "people/OWN/merge/", {"into": who}),
}  # fmt: skip


def sent(w: make.World, caller: Caller, method: Any, path: Any, body: Any) -> Any:
    text = json.dumps(body).replace('"TRIP"', f'"{w.trip.pk}"').replace('"OWN"', str(w.guide.pk))
    path = path.replace("OWN", str(w.guide.pk))
    return caller(method, path, None if body is None else json.loads(text))


@pytest.mark.parametrize("field", NAMES_SOMEBODY)
def test_a_number_of_somebody_of_another_room_names_nobody(w: make.World, field: str) -> None:
    keeper = make.caller(w.keeper)
    theirs = sent(w, keeper, *NAMES_SOMEBODY[field](w.stranger.pk))
    missing = sent(w, keeper, *NAMES_SOMEBODY[field](MISSING))
    assert theirs.status_code == missing.status_code == 404, theirs.content
    says_nothing(theirs)
    alike = theirs.json()["detail"].replace(str(w.stranger.pk), str(MISSING))
    assert alike == missing.json()["detail"]


@pytest.mark.parametrize("field", [name for name in NAMES_SOMEBODY if "trip" not in name])
def test_and_so_it_is_of_somebody_of_ones_own_rooms(w: make.World, field: str) -> None:
    """The table would prove nothing if these bodies named nobody at all."""
    Person.objects.filter(pk=w.instructor.pk).update(phone="1")
    answer = sent(w, make.caller(w.keeper), *NAMES_SOMEBODY[field](w.instructor.pk))
    assert answer.status_code != 404, answer.content


@pytest.mark.parametrize("path", ["kits/DAY-01/check-out/", "kits/DAY-01/pass/"])
def test_nor_does_the_code_of_their_tag(w: make.World, path: str) -> None:
    answer = make.caller(w.keeper).post(path, {"person": label_codes.shown(w.tag.code)})
    assert answer.status_code == 404
    says_nothing(answer)


def test_their_tag_is_to_others_what_a_passer_by_sees(w: make.World, client: Client) -> None:
    keeper = make.caller(w.keeper)
    for body in ({"text": w.tag.code}, {"texts": [w.tag.code, "DAY-01"], "intent": "check-out"}):
        says_nothing(keeper.post("scans/", body))
    client.force_login(present(w.keeper.user))
    says_nothing(client.get(f"/L/{w.tag.code}", follow=True))
    assert keeper.get(f"labels/{w.tag.code}/").status_code == 404
    says_nothing(keeper.get("labels/"))
    blank = keeper.post(f"labels/{w.tag.code}/bind/", {"to": {"kit": "DAY-01"}})
    assert blank.status_code == 409
    says_nothing(blank)


def test_a_tag_of_theirs_that_was_made_for_our_room_before_is_not_listed(w: make.World) -> None:
    Label.objects.filter(pk=w.tag.pk).update(room=w.store)
    keeper = make.caller(w.keeper)
    says_nothing(keeper.get("labels/"))
    assert keeper.get(f"labels/{w.tag.code}/").status_code == 404


@pytest.mark.parametrize("name", ["kit", "person", "merge"])
def test_a_page_names_nobody_of_another_room(w: make.World, client: Client, name: str) -> None:
    client.force_login(present(w.keeper.user))
    form = {"person": w.stranger.pk, "into": w.stranger.pk}
    path = {
        "kit": reverse("pass-on", args=["DAY-01"]),
        "person": reverse("person", args=[w.stranger.pk]),
        "merge": reverse("merge-person", args=[w.guide.pk]),
    }[name]
    says_nothing(client.post(path, form, follow=True))


# ---------------------------------------------------------------- everything else that has a number
def numbers(w: make.World) -> dict[Any, Any]:
    """Each address that names something by number or name: of the hut, and of nothing."""
    return {
        "kit": ("GET", "kits/{}/", "CAVE-9", None),
        "readiness": ("GET", "kits/{}/readiness/", "CAVE-9", None),
        "contents": ("GET", "kits/{}/contents/", "CAVE-9", None),
        "history": ("GET", "kits/{}/history/", "CAVE-9", None),
        "restock list": ("GET", "kits/{}/restock/", "CAVE-9", None),
        "kit edited": ("PATCH", "kits/{}/", "CAVE-9", {"name": "MINE"}),
        "due": ("POST", "kits/{}/due/", "CAVE-9", {"due_at": None}),
        "passed on": ("POST", "kits/{}/pass/", "CAVE-9", {"person": str(w.guide.pk)}),
        "use": ("POST", "kits/{}/use/", "CAVE-9", {"used": [{"item": w.shears.pk, "units": 1}]}),
        "held back": ("POST", "kits/{}/withhold/", "CAVE-9", {"kind": "drying"}),
        "let go": ("POST", "kits/{}/release/", "CAVE-9", {"kind": "drying"}),
        "lost": ("POST", "kits/{}/lost/", "CAVE-9", {}),
        "put in storage": ("POST", "kits/{}/lay-up/", "CAVE-9", {}),
        "retired": ("POST", "kits/{}/retire/", "CAVE-9", {}),
        "contents checked": ("POST", "kits/{}/look-inside/", "CAVE-9", {}),
        "restocked": ("POST", "kits/{}/restock/", "CAVE-9", {}),
        "entry": ("GET", "entries/{}/", w.hut_entry.pk, None),
        "entry undone": ("POST", "entries/{}/reverse/", w.hut_entry.pk, {}),
        "entry moved": ("POST", "entries/{}/really/", w.hut_entry.pk, {"kit": "DAY-01"}),
        "entries of a kit": ("GET", "entries/?kit={}", "CAVE-9", None),
        "entries of a trip": ("GET", "entries/?trip={}", w.hut_trip.pk, None),
        "movements of a kit": ("GET", "movements/?kit={}", "CAVE-9", None),
        "checkouts of a kit": ("GET", "checkouts/?kit={}", "CAVE-9", None),
        "checkouts of a trip": ("GET", "checkouts/?trip={}", w.hut_trip.pk, None),
        "reservation": ("GET", "reservations/{}/", w.hut_promise.pk, None),
        "released": ("POST", "reservations/{}/release/", w.hut_promise.pk, {}),
        "swapped": ("POST", "reservations/{}/swap/", w.hut_promise.pk, {"kit": "DAY-01"}),
        "reserved": ("POST", "reservations/", "CAVE-9", {"kit": "{}", "trip": str(w.trip.pk)}),
        "reserved for": ("POST", "reservations/", w.hut_trip.pk, {"kit": "DAY-01", "trip": "{}"}),
        "trip in a body": ("POST", "kits/DAY-01/check-out/", w.hut_trip.pk, {"trip": "{}"}),
        "shelf": (
            "POST", "stock/receive/", w.hut_shelf.pk,
            {"item": w.shears.pk, "units": 1, "shelf": "{}"},
        ),
        "restocked from": (
            "POST", "kits/DAY-01/restock/", w.hut_shelf.pk,
            {"as_listed": False, "extra": [
                {"lot": str(w.hut_lot.pk), "shelf": "{}", "section": "main", "units": 1}]},
        ),
        "borrowed from": (
            "POST", "kits/DAY-02/borrow/", "CAVE-9",
            {"giver": "{}", "lines": [{"lot": str(w.hut_lot.pk), "units": 1}]},
        ),
        "label on a kit": ("POST", "labels/", "CAVE-9", {"on": [{"kit": "{}"}]}),
        "label on a shelf": ("POST", "labels/", w.hut_shelf.pk, {"on": [{"shelf": "{}"}]}),
        "moved home": ("POST", "kits/DAY-01/move-home/", "cave-hut", {"room": "{}"}),
        "stock of a kit": ("GET", "stock/?kit={}", "CAVE-9", None),
        "notices of a kit": ("GET", "notices/?kit={}", "CAVE-9", None),
        "room": ("GET", "rooms/{}/", "cave-hut", None),
        "kits of a room": ("GET", "kits/?room={}", "cave-hut", None),
        "tag of a kit": ("GET", "kits/{}/tag/", "CAVE-9", None),
        "lid card": ("GET", "kits/{}/card/", "CAVE-9", None),
        "wall calendar": ("GET", "rooms/{}/wall-calendar/", "cave-hut", None),
        "sign-out sheet": ("GET", "rooms/{}/sign-out-sheet/", "cave-hut", None),
    }  # fmt: skip


def _filled(value: Any, ref: Any) -> Any:
    if isinstance(value, dict):
        return {name: _filled(each, ref) for name, each in value.items()}
    if isinstance(value, list):
        return [_filled(each, ref) for each in value]
    return value.format(ref) if isinstance(value, str) else value


def test_whatever_has_a_number_is_not_there_where_it_is_of_another_room(w: make.World) -> None:
    keeper = make.caller(w.keeper)
    wrong = {}
    for name, (method, path, ref, body) in numbers(w).items():
        missing = MISSING if isinstance(ref, int) else "NONE-77"
        theirs = keeper(method, path.format(ref), _filled(body, ref))
        nothing = keeper(method, path.format(missing), _filled(body, missing))
        if theirs.status_code not in (404, 403) or theirs.status_code != nothing.status_code:
            wrong[name] = (theirs.status_code, nothing.status_code, theirs.content[:200])
            continue
        others = [word for word in OF_OTHERS if word in theirs.content and word != b"CAVE-9"]
        alike = re.sub(rf"\b{ref}\b", str(missing), theirs.json()["detail"])
        if others or alike != nothing.json()["detail"]:
            wrong[name] = (others, theirs.json()["detail"], nothing.json()["detail"])
    assert wrong == {}


LISTS = ("kits/", "people/", "trips/", "checkouts/", "entries/", "movements/", "reservations/",
         "notices/", "labels/", "clearances/", "stock/", "needs/", "away/", "recalls/", "rooms/",
         "lots/", "items/")  # fmt: skip


@pytest.mark.parametrize("path", LISTS)
def test_no_list_shows_anything_of_another_room(w: make.World, path: str) -> None:
    answer = make.caller(w.keeper).get(path)
    assert answer.status_code in (200, 404), answer.content
    says_nothing(answer)


@pytest.mark.parametrize(
    "query",
    [
        "checkouts/?person__phone__startswith=0", "checkouts/?ordering=person__phone",
        "trips/?leader__name=Zebedee", "people/?ordering=user__password",
        "kits/?responsible__pin=x",
        "entries/?person__email__contains=a", "labels/?person__phone=1", "notices/?person__pin=1",
        "people/?search=x&order=phone", "reservations/?trip__leader__phone=0",
    ],
)  # fmt: skip
def test_no_filter_or_order_reaches_over_a_relation(w: make.World, query: str) -> None:
    answer = make.caller(w.keeper).get(query)
    assert answer.status_code == 400


@pytest.mark.parametrize(
    "query", ["checkouts/?person={}", "trips/?leader={}", "entries/?person={}", "labels/?person={}",
              "notices/?person={}", "reservations/?person={}"],
)  # fmt: skip
def test_a_filter_by_somebody_of_another_room_finds_what_one_by_nobody_does(
    w: make.World, query: str
) -> None:
    keeper = make.caller(w.keeper)
    theirs = keeper.get(query.format(w.stranger.pk))
    assert theirs.json()["results"] == keeper.get(query.format(MISSING)).json()["results"] == []


def test_a_trip_from_no_room_yet_is_there_for_the_rooms_of_whoever_leads_it(w: make.World) -> None:
    loose = make.trip("Loose", w.hut, 1, 1)
    Trip.objects.filter(pk__in=[w.hut_trip.pk, loose.pk]).update(room=None)
    keeper = make.caller(w.keeper)
    says_nothing(keeper.get("trips/"))
    assert keeper.get(f"entries/?trip={w.hut_trip.pk}").status_code == 404
    assert b"Loose" in keeper.get("trips/").content
    assert b"Zip cave" in make.caller(w.hut_keeper).get("trips/").content


def test_the_telephone_of_a_leader_by_name_is_for_those_who_may_see_people(w: make.World) -> None:
    Trip.objects.filter(pk=w.trip.pk).update(leader_name="Lee", leader_phone=PHONE)
    adviser = make.caller(make.person("Abe", Role.ADVISER, w.store))
    answer = adviser.get("trips/")
    assert b"Lee" in answer.content
    says_nothing(answer)
    assert PHONE.encode() in make.caller(w.keeper).get("trips/").content
