"""The booking system: `python -m tests.bookings.office FOLDER`, with FOLDER/settings.json.

It works through a season of its own: decides what the next act is, keeps that with what has to be
sent because of it, and sends it until there is an answer. FOLDER/book.sqlite3 is all that it knows;
started again after a kill, it goes on from there.
"""

import json
import random
import sys
import threading
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from tests.bookings import receiver, season
from tests.bookings.book import Book, utc
from tests.bookings.calls import Answer, Gearroom, NotNow

SOURCE = "bookings"
EVENTS = 150
"""So many events are asked for at once."""
ACCEPTED = 30
"""So many trips, the soonest, get what a plan for all of them chose."""


@dataclass(frozen=True)
class Settings:
    """What whoever runs it says."""

    url: str
    token: str
    seed: int
    trips: int
    more: int
    begins: str
    port: int
    certificate: str

    @property
    def steps(self) -> list[str]:
        """What the season brings."""
        return season.steps(self.seed, self.trips, self.more)


class Office:
    """Decides and sends, one thing after the other."""

    def __init__(self, settings: Settings, book: Book) -> None:
        self.settings = settings
        self.book = book
        self.gearroom = Gearroom(settings.url, settings.token)
        self.steps = settings.steps

    def is_back(self) -> None:
        """Once it receives again: ask for what could not be sent meanwhile."""
        for (webhook,) in self.book.rows("select number from webhook"):
            self.book.post("PATCH", f"webhooks/{webhook}/", {"on": True})

    def work(self) -> bool:
        """Do what is next; False where there is nothing. Raises NotNow."""
        letters = self.book.rows(
            "select number, method, path, body, key from letter where status is null"
            " order by number limit 1"
        )
        if letters:
            self._send(*letters[0])
            return True
        done = self.book.one("select count(*) from step")
        if done == len(self.steps):
            return False
        self._decide(done, self.steps[done])
        return True

    # -------------------------------------------------------------------------------- what to do
    def _decide(self, number: int, act: str) -> None:
        """One act. What it has to ask the gear room first, it asks anew after a kill."""
        chance = random.Random(f"{self.settings.seed} step {number}")
        known = self._ask(act, chance)
        with self.book.together():
            self.book.write("insert into step (number, act) values (?, ?)", number, act)
            getattr(self, f"_{act.replace('-', '_')}")(chance, known)

    def poll(self) -> None:
        """Ask for all events since those in the book. Raises NotNow."""
        more = True
        while more:
            after = self.book.one("select cursor from polled order by number desc limit 1")
            path = f"events/?limit={EVENTS}" + (f"&after={after}" if after else "")
            answer = self.gearroom.get(path)
            with self.book.together():
                self.book.poll(answer["events"], answer["cursor"])
            more = answer["more"]

    def _ask(self, act: str, chance: random.Random) -> Any:
        if act == "plan":
            return self.gearroom.get("plans/trips/")
        if act == "poll":
            self.poll()
        if act == "propose":
            trip = chance.choice(self.book.trips(cancelled=False))
            path = f"trips/{SOURCE}/{trip}/proposal/"
            return trip, self.gearroom.call("POST", path, {}, str(uuid.uuid4()))
        return None

    def _book(self, _chance: random.Random, _known: Any) -> None:
        self._send_trips(self._new_trips(1))

    def _book_many(self, _chance: random.Random, _known: Any) -> None:
        self._send_trips(self._new_trips(season.CHUNK))

    def _new_trips(self, count: int) -> dict[str, season.Trip]:
        first = self.book.one("select count(*) from trip")
        begins = datetime.fromisoformat(self.settings.begins)
        return {
            f"B-{number:04}": season.trip(self.settings.seed, number, begins)
            for number in range(first, first + count)
        }

    def _change(self, chance: random.Random, _known: Any) -> None:
        self._alter(chance, 1, partial(season.changed, chance=chance))

    def _change_many(self, chance: random.Random, _known: Any) -> None:
        self._alter(chance, season.CHANGES, partial(season.changed, chance=chance))

    def _cancel(self, chance: random.Random, _known: Any) -> None:
        self._alter(chance, 1, lambda trip: {**trip, "state": "cancelled"})

    def _bring_back(self, chance: random.Random, _known: Any) -> None:
        self._alter(chance, 1, lambda trip: {**trip, "state": "confirmed"}, cancelled=True)

    def _alter(
        self,
        chance: random.Random,
        count: int,
        change: Callable[[season.Trip], season.Trip],
        *,
        cancelled: bool = False,
    ) -> None:
        trips = self.book.trips(cancelled=cancelled)
        altered = chance.sample(trips, min(count, len(trips)))
        self._send_trips({each: change(self.book.trip(each)) for each in altered})

    def _send_trips(self, trips: dict[str, season.Trip]) -> None:
        for reference, trip in trips.items():
            self.book.decide(reference, trip)
            if len(trips) == 1:
                self.book.post("PUT", f"trips/{SOURCE}/{reference}/", trip)
        if len(trips) > 1:
            rows = [{"reference": reference, **trip} for reference, trip in trips.items()]
            self.book.post("POST", "trips/batch/", {"source": SOURCE, "trips": rows})

    def _propose(self, _chance: random.Random, known: tuple[str, Answer]) -> None:
        trip, answer = known
        if answer.status == 200:
            for kit in answer.body["proposed"]:
                self.book.post("POST", "reservations/", {"kit": kit, "trip": f"{SOURCE}:{trip}"})

    def _plan(self, _chance: random.Random, known: Any) -> None:
        wanted = [
            {"kit": kit["kit"], "trip": f"{SOURCE}:{trip['reference']}"}
            for trip in known["trips"][:ACCEPTED]
            if trip["source"] == SOURCE
            for kit in trip["chosen"]
        ]
        if wanted:
            self.book.post("POST", "plans/trips/reserve/", {"reserve": wanted})

    def _poll(self, _chance: random.Random, _known: Any) -> None:
        """All that there was is in the book already."""

    def _subscribe(self, _chance: random.Random, _known: Any) -> None:
        address = f"https://localhost:{self.settings.port}/events"
        self.book.post("POST", "webhooks/", {"name": "Booking system", "address": address})

    def _rotate(self, _chance: random.Random, _known: Any) -> None:
        webhook = self.book.one("select number from webhook")
        self.book.post("POST", f"webhooks/{webhook}/rotate/", {})

    def _release(self, chance: random.Random, _known: Any) -> None:
        standing = self.book.rows("select number from reservation where stands order by number")
        if standing:
            self.book.post("POST", f"reservations/{chance.choice(standing)[0]}/release/", {})

    # ----------------------------------------------------------------------------- what it means
    def _send(self, number: int, method: str, path: str, body: str, key: str) -> None:
        answer = self.gearroom.call(method, path, json.loads(body), key)
        with self.book.together():
            self.book.write(
                "update letter set status = ?, answer = ?, replayed = ? where number = ?",
                answer.status, json.dumps(answer.body), answer.replayed, number,
            )  # fmt: skip
            if answer.status < 300:
                self._understand(path, answer.body)

    def _understand(self, path: str, answer: Any) -> None:
        if path == "reservations/":
            self.book.reserve(answer["reservation"])
        elif path == "plans/trips/reserve/":
            for reservation in answer["reservations"]:
                self.book.reserve(reservation)
        elif path.endswith("/release/"):
            self.book.released(answer["trip"]["reference"], answer["kit"])
        elif path == "webhooks/" or path.endswith("/rotate/"):
            self.book.write(
                "insert or ignore into webhook (number, made_at) values (?, ?)",
                answer["id"], utc(answer["made_at"]),
            )  # fmt: skip
            if answer["secret"] is None:  # the answer that had it did not come: another
                self.book.post("POST", f"webhooks/{answer['id']}/rotate/", {})
            else:
                self.book.write("insert into secret (secret) values (?)", answer["secret"])
        elif path == "trips/batch/":
            for result in answer["results"]:
                self._understand_trip(result)
        elif path.startswith("trips/"):
            self._understand_trip(answer)

    def _understand_trip(self, result: Any) -> None:
        trip = result["trip"]
        if trip is not None:  # of a batch's trips, not what is unchanged or refused
            self.book.write(
                "update trip set revision = ? where reference = ?",
                trip["revision"], trip["reference"],
            )  # fmt: skip
            for kit in result["released"]:
                self.book.released(trip["reference"], kit)


def main() -> None:
    """Work until killed."""
    folder = Path(sys.argv[1])
    settings = Settings(**json.loads((folder / "settings.json").read_text()))
    file = folder / "book.sqlite3"
    office = Office(settings, Book(file))
    receiver.start(settings.port, Path(settings.certificate), file)
    office.is_back()
    pause = threading.Event()
    while True:
        try:
            if not office.work():
                pause.wait(0.2)
        except NotNow as later:
            pause.wait(later.seconds or 0.2)


if __name__ == "__main__":
    main()
