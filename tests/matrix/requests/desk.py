"""The pages of the desk: signing in, people, rooms, labels; a request for each."""

from typing import Any

from gearroom.core.models import installation
from gearroom.core.services.installation.installation import link_to_try
from tests.matrix.accounts import PASSWORD
from tests.matrix.requests.making import Aim, Make, say

_HEARS = {"weekly_on": "3", "weekly_at": "07:00", "minutes_a_kit": "10"}


_WEBHOOK = {"name": "Mine", "address": "https://booking.example/"}


def _somebody(a: Aim, who: str, **said: Any) -> Any:
    return say(person=a.person(who), body={"name": "Some One", **said})


def _room(a: Aim) -> dict[str, str]:
    return {
        "name": "Another name",
        "time_zone": "UTC",
        "how_to_return": "Bring it.",
        "closing_time": "18:00",
        "sorting_nights": "1",
        "opening_pays_from": "7.00",
    }


def _codes(a: Aim, **more: str) -> dict[str, str]:
    return {"codes": a.label("kit"), **more}


def _reached() -> str:
    installation.remember(installation.Installation(public_url="http://testserver"))
    return link_to_try().split("/")[-2]


SIGNING: dict[str, Make] = {
    "page GET sign-in/": lambda a: say(),
    "page POST sign-in/": lambda a: say(
        body={"username": a.there.people["mate"].user.username, "password": PASSWORD}
    ),
    "page POST sign-out/": lambda a: say(),
    "page GET sign-in/forgotten/": lambda a: say(),
    "page POST sign-in/forgotten/": lambda a: say(
        body={"name": a.there.people["mate"].user.username}
    ),
    "page POST room/": lambda a: say(body={"room": a.room()}),
    "page GET signed-in/": lambda a: say(),
    "page POST signed-in/{signed_in}/end/": lambda a: say(signed_in=a.own("signed_in")),
    "page POST signed-in/others/end/": lambda a: say(),
    "page POST signed-in/password/": lambda a: say(
        body={"old": PASSWORD, "new": "another long pass phrase"}
    ),
    "page POST signed-in/pin/": lambda a: say(body={"password": PASSWORD, "pin": "2581"}),
    "page GET tokens/": lambda a: say(),
    "page POST tokens/": lambda a: say(body={"name": "mine", "scope": "read", "days": "30"}),
    "page POST tokens/{token}/end/": lambda a: say(token=a.own("token")),
    "page GET webhooks/": lambda a: say(),
    "page POST webhooks/": lambda a: say(body={**_WEBHOOK, "room": a.room()}),
    "page POST webhooks/ #of all their rooms": lambda a: say(body=_WEBHOOK),
    "page GET webhooks/{webhook}/": lambda a: say(webhook=a.of("webhook")),
    "page POST webhooks/{webhook}/change/": lambda a: say(
        webhook=a.of("webhook"), body={**_WEBHOOK, "room": a.room()}
    ),
    "page POST webhooks/{webhook}/on/": lambda a: say(webhook=a.of("webhook")),
    "page POST webhooks/{webhook}/off/": lambda a: say(webhook=a.of("webhook")),
    "page POST webhooks/{webhook}/test/": lambda a: say(webhook=a.of("webhook")),
    "page POST webhooks/{webhook}/rotate/": lambda a: say(webhook=a.of("webhook")),
    "page POST webhooks/{webhook}/remove/": lambda a: say(webhook=a.of("webhook")),
    "page POST webhooks/{webhook}/again/": lambda a: say(
        webhook=a.of("webhook"), body={"event": a.event()}
    ),
    "page POST webhooks/{webhook}/leave-out/": lambda a: say(
        webhook=a.of("webhook"), body={"event": a.event()}
    ),
    "page GET settings/": lambda a: say(),
    "page GET settings/installation/": lambda a: say(),
    "page POST settings/installation/": lambda a: say(
        body={"organisation": "Umberfell", "time_zone": "UTC", "language": "de"}
    ),
    "page GET settings/address/": lambda a: say(),
    "page POST settings/address/": lambda a: say(body={"public_url": "https://gear.example"}),
    "page GET settings/mail/": lambda a: say(),
    "page POST settings/mail/": lambda a: say(
        body={"mail_host": "mail.example", "mail_port": "25", "mail_from": "a@b.example"}
    ),
    "page GET begin/": lambda a: say(),
    "page POST begin/": lambda a: say(body={"code": "somebody-has-claimed-it"}),
    "page GET begin/{claim}/": lambda a: say(claim="somebody-has-claimed-it"),
    "page POST begin/{claim}/": lambda a: say(claim="somebody-has-claimed-it"),
    "page GET reached/{link}/": lambda a: say(link=_reached()),
    "page POST reached/{link}/": lambda a: say(link=_reached()),
    "page POST settings/alone/": lambda a: say(body={"shows_all": "1"}),
    "page GET devices/": lambda a: say(),
    "page POST devices/": lambda a: say(body={"room": a.room(), "name": "Another phone"}),
    "page POST devices/{device}/end/": lambda a: say(device=a.of("device")),
    "page GET help/": lambda a: say(),
    "page GET help/{role}/": lambda a: say(role="keeper"),
    "page GET problems/": lambda a: say(),
    "page GET problems/{code}/": lambda a: say(code="not-found"),
    "page GET health/": lambda a: say(),
}

NOTICES: dict[str, Make] = {
    "page GET notices/": lambda a: say(),
    "page GET notices/weekly/": lambda a: say(),
    "page GET notices/weekly/ #of somebody": lambda a: say({"person": a.person("instructor")}),
    "page GET notices/settings/": lambda a: say(),
    "page POST notices/settings/": lambda a: say(body=_HEARS),
    "page POST notices/calendar/": lambda a: say(),
    "page POST notices/calendar/end/": lambda a: say(),
    "page GET notices/{notice}/": lambda a: say(notice=a.of("notice")),
    "page POST notices/{notice}/again/": lambda a: say(notice=a.of("notice")),
}

PEOPLE: dict[str, Make] = {
    "page GET people/": lambda a: say(),
    "page POST people/add/": lambda a: say(body={"name": "New One", "home_room": a.room()}),
    "page GET people/{person}/": lambda a: say(person=a.person("mate")),
    "page GET people/{person}/ #oneself": lambda a: say(person=a.own_person()),
    "page POST people/{person}/": lambda a: _somebody(a, "visitor"),
    "page POST people/{person}/ #address of an administrator": lambda a: _somebody(
        a, "administrator", email="somebody@example.org"
    ),
    "page POST people/{person}/role/": lambda a: say(
        person=a.person("visitor"), body={"role": "guide", "room": a.room()}
    ),
    "page POST people/{person}/role/ #adviser": lambda a: say(
        person=a.person("visitor"), body={"role": "adviser", "room": a.room()}
    ),
    "page POST people/{person}/role/end/": lambda a: say(
        person=a.person("mate"), body={"role": "guide", "room": a.room()}
    ),
    "page POST people/{person}/sign-in/": lambda a: say(
        person=a.person("visitor"), body={"username": "newcomer"}
    ),
    "page POST people/{person}/left/": lambda a: say(person=a.person("visitor")),
    "page POST people/{person}/back/": lambda a: say(person=a.person("gone")),
    "page GET people/{person}/merge/": lambda a: say(
        {"into": a.person("visitor")}, person=a.person("double")
    ),
    "page POST people/{person}/merge/": lambda a: say(
        person=a.person("double"), body={"into": a.person("visitor")}
    ),
    "page POST people/{person}/tag/": lambda a: say(person=a.person("visitor")),
    "page GET people/{person}/export/": lambda a: say(person=a.person("visitor")),
    "page GET people/{person}/export/ #oneself": lambda a: say(person=a.own_person()),
    "page GET people/{person}/erase/": lambda a: say(person=a.person("visitor")),
    "page POST people/{person}/erase/": lambda a: say(person=a.person("visitor")),
    "page GET people/names/": lambda a: say(),
    "page POST people/names/": lambda a: say(),
    "page GET rooms/": lambda a: say(),
    "page POST rooms/": lambda a: say(body={**_room(a), "name": "Boat house"}),
    "page GET rooms/{room}/": lambda a: say(room=a.room()),
    "page POST rooms/{room}/": lambda a: say(room=a.room(), body=_room(a)),
    "page POST rooms/{room}/shelves/": lambda a: say(room=a.room(), body={"name": "New shelf"}),
    "page GET rooms/{room}/wall-calendar/": lambda a: say(room=a.room()),
    "page GET rooms/{room}/wall-calendar/ #printed": lambda a: say(
        {"paper": "letter"}, room=a.room()
    ),
    "page GET patient-note/": lambda a: say({"size": "a5"}),
    "page GET rooms/{room}/sign-out-sheet/": lambda a: say({"preview": "1"}, room=a.room()),
    "page POST shelves/{shelf}/": lambda a: say(shelf=a.place("upper"), body={"name": "Renamed"}),
    "page POST shelves/{shelf}/ #moved to a location": lambda a: say(
        shelf=a.place("upper"), body={"do": "place", "location": a.location("van")}
    ),
    "page POST shelves/{shelf}/weather/": lambda a: say(
        shelf=a.place("cold_shelf"), body={"do": "out", "to": str(a.place("upper"))}
    ),
    "page POST shelves/{shelf}/weather/ #back": lambda a: say(
        shelf=a.place("thawed_shelf"), body={"do": "back"}
    ),
    "page GET rooms/{room}/locations/": lambda a: say(room=a.room()),
    "page POST rooms/{room}/locations/": lambda a: say(room=a.room(), body={"name": "New van"}),
    "page POST locations/{location}/": lambda a: say(
        location=a.location("unused"), body={"name": "Old van", "do": "save"}
    ),
    "page POST locations/{location}/ #no longer used": lambda a: say(
        location=a.location("unused"), body={"do": "close"}
    ),
    "page GET rooms/{room}/weather/": lambda a: say(room=a.room()),
    "page POST kits/{kit}/weather/": lambda a: say(
        kit=a.kit("cold"), body={"do": "out", "to": str(a.place("upper"))}
    ),
    "page POST kits/{kit}/weather/ #back": lambda a: say(kit=a.kit("thawed"), body={"do": "back"}),
}

_OWN_SHEET = {
    "name": "Own", "form": "sheet", "page_width_mm": "210", "page_height_mm": "297",
    "columns": "2", "rows": "4", "cell_width_mm": "90", "cell_height_mm": "60",
    "left_mm": "10", "top_mm": "20", "pitch_x_mm": "95", "pitch_y_mm": "65",
}  # fmt: skip

LABELS: dict[str, Make] = {
    "page GET labels/": lambda a: say(),
    "page POST labels/": lambda a: say(
        body={"for": "shelves", "room": a.room(), "on": a.place("upper")}
    ),
    "page GET labels/print/": lambda a: say(_codes(a)),
    "page GET labels/print/picture/": lambda a: say(_codes(a)),
    "page POST labels/print/pdf/": lambda a: say(body=_codes(a, preview="1")),
    "page GET labels/printer/": lambda a: say(),
    "page POST labels/printer/": lambda a: say(body={"none": "1"}),
    "page GET labels/printer/test-page/": lambda a: say(),
    "page GET labels/sheets/": lambda a: say(),
    "page POST labels/sheets/": lambda a: say(body=_OWN_SHEET),
    "page POST labels/sheets/remove/": lambda a: say(body={"sheet": a.all.sheet}),
    "page GET labels/{code}/": lambda a: say(code=a.label("kit")),
    "page GET labels/{code}/bind/": lambda a: say(code=a.label("blank")),
    "page POST labels/{code}/bind/": lambda a: say(
        code=a.label("blank"), body={"for": "shelves", "on": a.place("upper"), "room": a.room()}
    ),
    "page GET labels/{code}/picture/": lambda a: say(code=a.label("kit")),
    "page POST labels/{code}/cancel/": lambda a: say(code=a.label("kit"), body={"why": "worn"}),
}

REQUESTS = {**SIGNING, **NOTICES, **PEOPLE, **LABELS}
