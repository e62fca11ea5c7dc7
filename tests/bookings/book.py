"""The booking system's own database. What is to be sent is written with what was decided, and what
an answer means with the answer: killed at any moment, it goes on where it was."""

import json
import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

_TABLES = """
create table if not exists step (number integer primary key, act text not null);
create table if not exists trip (
    reference text primary key, wanted text not null, revision integer not null default 0
);
create table if not exists reservation (
    number integer primary key, kit text not null, trip text not null,
    stands integer not null default 1
);
create table if not exists letter (
    number integer primary key, key text not null unique, method text not null,
    path text not null, body text not null, status integer, answer text,
    replayed integer not null default 0
);
create table if not exists webhook (number integer primary key, made_at text not null);
create table if not exists secret (number integer primary key, secret text not null unique);
create table if not exists event (
    number integer primary key, id text not null unique, type text not null,
    subject text not null, content text not null, secret integer not null,
    times integer not null default 1
);
create table if not exists polled (
    number integer primary key, id text not null unique, subject text not null,
    content text not null, at text not null, cursor text not null
);
create table if not exists refusal (number integer primary key, id text not null);
"""


def utc(text: str) -> str:
    """A time in a form in which texts are in the order of times."""
    return datetime.fromisoformat(text).astimezone(UTC).isoformat(timespec="microseconds")


class Book:
    """The database in a file, for one thread."""

    def __init__(self, file: Path) -> None:
        self.database = sqlite3.connect(file, timeout=30, isolation_level=None)
        self.database.execute("pragma journal_mode = wal")
        self.database.execute("pragma synchronous = normal")
        self.database.executescript(_TABLES)

    @contextmanager
    def together(self) -> Iterator[None]:
        """All that is written within is kept as one, or not at all."""
        self.database.execute("begin immediate")
        try:
            yield
        except BaseException:
            self.database.execute("rollback")
            raise
        self.database.execute("commit")

    def rows(self, question: str, *values: Any) -> list[tuple[Any, ...]]:
        """What the database answers."""
        with closing(self.database.execute(question, values)) as cursor:
            return cursor.fetchall()

    def write(self, statement: str, *values: Any) -> int:
        """Change the database; how many rows were."""
        return self.database.execute(statement, values).rowcount

    def one(self, question: str, *values: Any) -> Any:
        """The one value that the database answers; None where there is no row."""
        rows = self.rows(question, *values)
        return rows[0][0] if rows else None

    # ------------------------------------------------------------------------------- what is sent
    def post(self, method: str, path: str, body: Any) -> None:
        """Put a request among those to send, under a key of its own."""
        self.write(
            "insert into letter (key, method, path, body) values (?, ?, ?, ?)",
            str(uuid.uuid4()), method, path, json.dumps(body),
        )  # fmt: skip

    # ---------------------------------------------------------------------------------- the trips
    def trip(self, reference: str) -> Any:
        """A trip as it should be."""
        return json.loads(self.one("select wanted from trip where reference = ?", reference))

    def trips(self, *, cancelled: bool) -> list[str]:
        """References of trips, cancelled or not."""
        return [
            reference
            for reference, wanted in self.rows("select reference, wanted from trip order by 1")
            if (json.loads(wanted)["state"] == "cancelled") == cancelled
        ]

    def decide(self, reference: str, wanted: Any) -> None:
        """Keep how a trip should be."""
        self.write(
            "insert into trip (reference, wanted) values (?, ?)"
            " on conflict do update set wanted = excluded.wanted",
            reference, json.dumps(wanted),
        )  # fmt: skip

    # --------------------------------------------------------------------------------- the events
    def secrets(self) -> list[tuple[int, str]]:
        """What events may be signed with, the latest first, each with its number."""
        return self.rows("select number, secret from secret order by number desc")

    def receive(self, event: Any, secret: int) -> int:
        """Keep an event that the secret of that number signed; how often it came."""
        return int(self.one(
            "insert into event (id, type, subject, content, secret) values (?, ?, ?, ?, ?)"
            " on conflict (id) do update set times = times + 1 returning times",
            event["id"], event["type"], event["subject"], json.dumps(event), secret,
        ))  # fmt: skip

    def poll(self, events: list[Any], cursor: str) -> None:
        """Keep events that were asked for, and where to go on."""
        for event in events:
            self.write(
                "insert into polled (id, subject, content, at, cursor) values (?, ?, ?, ?, ?)",
                event["id"], event["subject"], json.dumps(event), utc(event["timestamp"]), cursor,
            )  # fmt: skip

    def due(self) -> list[Any]:
        """The polled events that the webhook has to bring: those since it was made."""
        return [
            json.loads(content)
            for (content,) in self.rows(
                "select content from polled where at >= (select made_at from webhook)"
                " order by number"
            )
        ]

    def missing(self) -> int:
        """How many of them did not come."""
        return int(self.one(
            "select count(*) from polled where at >= (select made_at from webhook)"
            " and id not in (select id from event)"
        ))  # fmt: skip

    def refuse(self, identity: str) -> None:
        """Keep that something came of which nothing says that it is genuine."""
        self.write("insert into refusal (id) values (?)", identity)

    # --------------------------------------------------------------------------- the reservations
    def reserve(self, reservation: Any) -> None:
        """Keep a reservation that was made."""
        self.write(
            "insert or ignore into reservation (number, kit, trip) values (?, ?, ?)",
            reservation["id"], reservation["kit"], reservation["trip"]["reference"],
        )  # fmt: skip

    def released(self, trip: str, kit: str) -> None:
        """A trip does not have a kit any more."""
        self.write("update reservation set stands = 0 where trip = ? and kit = ?", trip, kit)
