"""What a request is about, of one's own room, of the other or of none; and how it is sent."""

import json
import random
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote, urlencode

from django.core import signing
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart

from kits.models import Holding, Photo
from kits.rules.lookup import label_codes
from kits.services.webhooks import webhooks
from tests.kits.calendars.ics import far, ics
from tests.matrix.accounts import Account
from tests.matrix.school.sides import Everywhere, School, Side

NO_NUMBER = 98765432
NO_NAME = "GHOST-99"
NO_EVENT = "0e0a7d0c-3c1f-4b52-9d52-b7e2a4d6c911"
NO_CODE = label_codes.shown(label_codes.new_code(random.Random(17).choice))


@dataclass(frozen=True)
class Request:
    """One request, ready to be sent. `says` are all words that it holds."""

    method: str
    path: str
    content: bytes = b""
    content_type: str = "application/octet-stream"
    headers: Mapping[str, str] = field(default_factory=dict)
    says: tuple[str, ...] = ()

    @property
    def is_api(self) -> bool:
        """Whether it goes to the API."""
        return self.path.startswith("/api/")


@dataclass
class Aim:
    """What a request is about: the things of one room (`side`; None: of no room, so that every
    number and name leads nowhere), and whose own the thing is where it is somebody's."""

    school: School
    side: Side | None
    self: Account | None

    @property
    def all(self) -> Everywhere:
        """What belongs to the whole organisation."""
        return self.school.all

    @property
    def there(self) -> Side:
        """The room for what has to be there all the same."""
        return self.side or self.school.store

    def kit(self, name: str) -> str:
        """A kit's name."""
        return self.side.kits[name].name if self.side else NO_NAME

    def room(self) -> str:
        """The room's slug."""
        return self.side.room.slug if self.side else "no-such-room"

    def person(self, name: str) -> int:
        """Somebody's number: of a role, or a visitor, somebody on record twice, somebody gone."""
        if self.side is None:
            return NO_NUMBER
        if name in self.side.people:
            return self.side.people[name].person.pk
        return int(getattr(self.side, name).pk)

    def place(self, name: str = "shelf") -> int:
        """A shelf's number."""
        return getattr(self.side, name).pk if self.side else NO_NUMBER

    def location(self, name: str) -> int:
        """A location's number."""
        return self.side.locations[name].pk if self.side else NO_NUMBER

    def set_apart(self) -> int:
        """The number of where what is out of date was put."""
        rows = Holding.objects.filter(lot=self.all.lots["old"], place__room=self.there.room)
        return rows.values_list("place", flat=True)[0] if self.side else NO_NUMBER

    def photo(self) -> int:
        """The number of a photo of the kit that is kept back."""
        return Photo.objects.get(entry__kit=self.side.kits["held"]).pk if self.side else NO_NUMBER

    def section(self, kit: str, key: str = "main") -> int:
        """The number of a kit's section."""
        return self.side.kits[kit].sections.get(section_key=key).pk if self.side else NO_NUMBER

    def lot(self, name: str) -> int:
        """A batch's number: batches are the organisation's, but for each room's own gauge."""
        if name in ("gauge of", "corrected by"):
            return self.all.lots[f"{name} {self.side.word}"].pk if self.side else NO_NUMBER
        return self.all.lots[name].pk if self.side else NO_NUMBER

    def item(self, name: str) -> int:
        """An item's number."""
        return self.all.items[name].pk if self.side else NO_NUMBER

    def filled(self) -> int:
        """The number of a filled kit that might be bought."""
        return self.side.filled.pk if self.side and self.side.filled else NO_NUMBER

    def offer(self) -> int:
        """The number of an offer."""
        return self.all.offer.pk if self.side else NO_NUMBER

    def supplier(self) -> int:
        """The number of the supplier who makes it."""
        return self.all.offer.supplier_id if self.side else NO_NUMBER

    def list(self, name: str = "version") -> int:
        """A kit list's number."""
        return getattr(self.all, name).packing_list_id if self.side else NO_NUMBER

    def change(self) -> int:
        """The number of a change to several kit lists."""
        return self.all.change.pk if self.side else NO_NUMBER

    def advice(self, name: str) -> int:
        """The number of advice."""
        return self.all.advice[name].pk if self.side else NO_NUMBER

    def recall(self, name: str) -> int:
        """A recall's number."""
        return self.all.recalls[name].pk if self.side else NO_NUMBER

    def row(self) -> int:
        """The row that an open recall has for a kit."""
        return self.side.rows["kit"].pk if self.side else NO_NUMBER

    def order(self, name: str) -> int:
        """The number of an order to a supplier, by how far it is."""
        return self.side.orders[name].pk if self.side else NO_NUMBER

    def trip(self, name: str) -> str:
        """A trip as source:reference."""
        if self.side is None:
            return "by-hand:nowhere"
        return f"{self.side.trips[name].source}:{self.side.trips[name].reference}"

    def trip_id(self, name: str) -> int:
        """A trip's number."""
        return self.side.trips[name].pk if self.side else NO_NUMBER

    def of(self, name: str) -> int:
        """The number of the room's reservation, clearance, notice or device."""
        return getattr(self.side, name).pk if self.side else NO_NUMBER

    def calendar_content(self) -> str:
        """A version of the room's calendar, as its page sends it once somebody looked at it."""
        held = {"calendar": self.of("calendar"), "content": ics(far("a")).decode(), "plan": ""}
        return signing.dumps(held, salt="calendar-content", compress=True)

    def event(self) -> str:
        """The event that the room's webhook is to get next."""
        event = webhooks.next_event(self.side.webhook) if self.side and self.side.webhook else None
        return str(event.message_id) if event else NO_EVENT

    def entry(self, name: str) -> int:
        """An entry's number."""
        return self.side.entries[name].pk if self.side else NO_NUMBER

    def label(self, name: str) -> str:
        """A label's code."""
        return label_codes.shown(self.side.labels[name].code) if self.side else NO_CODE

    def link(self, name: str) -> str:
        """What a one-time link says."""
        return self.side.links[name] if self.side else "nowhere"

    def links_time(self) -> int:
        """The checkout that the link about use leads to."""
        return int(self.side.links["back"]) if self.side else NO_NUMBER

    def own_person(self) -> int:
        """One's own number, or another's."""
        return self.self.person.pk if self.self else NO_NUMBER

    def own(self, name: str) -> int:
        """The number of one's own token or sign-in."""
        return getattr(self.self, name).pk if self.self else NO_NUMBER


Make = Callable[[Aim], "Sent"]


@dataclass(frozen=True)
class Sent:
    """What of a request is said: the parts of the address, its query, its body or form."""

    parts: Mapping[str, Any] = field(default_factory=dict)
    query: Mapping[str, Any] = field(default_factory=dict)
    body: Any = None
    files: Mapping[str, SimpleUploadedFile] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)
    stands_in: str = ""
    """The room that the browser is to stand in: some pages are about that one alone."""
    holds: Callable[[Any], bool] | None = None
    """Whether an answer that is no refusal says that it was done (a scan's says it inside)."""


def say(
    query: Mapping[str, Any] | None = None,
    body: Any = None,
    *,
    files: Mapping[str, SimpleUploadedFile] | None = None,
    headers: Mapping[str, str] | None = None,
    holds: Callable[[Any], bool] | None = None,
    stands_in: str = "",
    **parts: Any,
) -> Sent:
    """What of a request is said, with the parts of its address by name."""
    return Sent(parts, query or {}, body, files or {}, headers or {}, stands_in, holds)


def made(operation: str, sent: Sent) -> Request:
    """The request of an operation."""
    name, _hash, _kind = operation.partition(" #")
    page = name.startswith("page ")
    method, _space, route = name.removeprefix("page ").partition(" ")
    route = re.sub(r"\{(\w+)\}", lambda part: quote(str(sent.parts[part[1]]), safe=":~"), route)
    path = ("/" if page else "/api/v1/") + route.removeprefix("/")
    if sent.query:
        path += "?" + urlencode(sent.query, doseq=True)
    says = (*map(str, sent.parts.values()), *_words(sent.query), *_words(sent.body))
    content, content_type = b"", "application/octet-stream"
    if sent.files:
        content = encode_multipart(BOUNDARY, {**(sent.body or {}), **sent.files})
        content_type = MULTIPART_CONTENT
    elif method != "GET" and page:
        content = urlencode(sent.body or {}, doseq=True).encode()
        content_type = "application/x-www-form-urlencoded"
    elif method != "GET":
        content, content_type = json.dumps(sent.body or {}).encode(), "application/json"
    return Request(method, path, content, content_type, sent.headers, says)


def _words(value: Any) -> tuple[str, ...]:
    if isinstance(value, Mapping):
        return tuple(word for each in value.values() for word in _words(each))
    if isinstance(value, list | tuple):
        return tuple(word for each in value for word in _words(each))
    return (str(value),)
