"""What a request asks before it writes, and what its answer gives away."""

import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from unittest.mock import patch

from django.db import connection

from gearroom.core.acts import Actor
from tests.matrix.accounts import MARKS
from tests.matrix.requests.making import Request

WRITES = re.compile(r'\s*(?:INSERT INTO|UPDATE|DELETE FROM|REPLACE INTO)\s+"(\w+)"', re.I)
NOTED = {
    "django_session",
    "core_signedin",
    "core_token",  # when it was last used
    "core_count",  # of tries and requests
    "core_keptanswer",  # kept after the act, with it
    "labels_scan",  # that something was read, whatever came of it
}
"""Tables in which a door notes that somebody came, whoever they are and whatever they may."""
_LOOKED_AT = ("belongs_to", "room_ids", "everywhere")


@dataclass
class Watch:
    """What a request wrote, by table in order, and what had been asked in a service when it wrote
    first: a right, and whose room it is."""

    wrote: list[str] = field(default_factory=list)
    rights: list[str] = field(default_factory=list)
    rooms: list[str] = field(default_factory=list)
    right_before: bool = False
    room_before: bool = False

    def write(self, table: str) -> None:
        """A statement that writes."""
        if table in NOTED:
            return
        if not self.wrote:
            self.right_before, self.room_before = bool(self.rights), bool(self.rooms)
        self.wrote.append(table)


@contextmanager
def watched() -> Iterator[Watch]:
    """Note what is asked and written in the block."""
    watch = Watch()
    asked, belongs = Actor.may, Actor.belongs_to

    def may(actor: Actor, use_case: str, *rooms: int | None) -> bool:
        if _in_a_service():
            watch.rights.append(use_case)
            if any(room is not None for room in rooms):
                watch.rooms.append(use_case)
        return asked(actor, use_case, *rooms)

    def belongs_to(actor: Actor, room_id: int | None) -> bool:
        if _in_a_service():
            watch.rooms.append("belongs_to")
        return belongs(actor, room_id)

    def looked_at(name: str) -> property:
        get: Any = getattr(Actor, name).fget

        def look(actor: Actor) -> Any:
            if _in_a_service():
                watch.rooms.append(name)
            return get(actor)

        return property(look)

    def note(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        if found := WRITES.match(sql):
            watch.write(found[1])
        return execute(sql, params, many, context)

    with (
        patch.object(Actor, "may", may),
        patch.object(Actor, "belongs_to", belongs_to),
        patch.object(Actor, "room_ids", looked_at("room_ids")),
        patch.object(Actor, "everywhere", looked_at("everywhere")),
        connection.execute_wrapper(note),
    ):
        yield watch


def _in_a_service() -> bool:
    frame = sys._getframe(2)
    while frame.f_code.co_filename.endswith("core/acts/act.py") and frame.f_back is not None:
        frame = frame.f_back
    return "/services/" in frame.f_code.co_filename


def gives_away(answer: Any, request: Request, rooms: set[str]) -> set[str]:
    """What of these rooms' own (by slug) stands in an answer, that was not in the request."""
    said = sorted((word.casefold() for word in request.says if word), key=len, reverse=True)
    text = "\n".join([
        answer.content_whole.decode("utf-8", "replace"),
        *(f"{name}: {value}" for name, value in answer.headers.items()),
        *(morsel.OutputString() for morsel in answer.cookies.values()),
    ]).casefold()  # fmt: skip
    marks = {mark for room in rooms for mark in MARKS[room]}
    for word in said:
        if any(mark in word for mark in marks):
            text = text.replace(word, "")
    found = set()
    for mark in marks:
        for hit in re.finditer(mark, text):
            found.add(text[max(0, hit.start() - 25) : hit.end() + 25].replace("\n", " "))
    return found
