"""Another program, which knows nothing but the events it read."""

from datetime import datetime
from typing import Any

from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from kits.models import Checkout, Kit, Recall, Reservation, Trip, Withholding
from kits.rules.events.stored import instant
from kits.rules.trips.trips import Coverage
from kits.services.events import events_after
from kits.services.ledger import verdicts
from kits.services.stock.order_levels import stock_levels
from kits.services.trips import trip_readiness

Part = tuple[int, str | None]


class Reader:
    """What it knows of kits, trips and stock, having read every event from the first."""

    def __init__(self) -> None:
        self.position = 0
        self.holders: dict[Part, int | None] = {}
        self.due: dict[Part, str | None] = {}
        self.on_hold: dict[int, list[str]] = {}
        self.reserved: set[tuple[int, int]] = set()
        self.open_recalls: set[int] = set()
        self.trips: dict[int, dict[str, Any]] = {}
        self.words: dict[int, str] = {}
        self.coverage: dict[int, str] = {}
        self.low: set[tuple[int, int]] = set()

    def read(self) -> list[str]:
        """The types of what is new; each is taken in."""
        page = events_after(self.position, limit=1000)
        self.position = page.position
        for event in page.events:
            self._take_in(event.type, event.data)
        return [event.type for event in page.events]

    def _take_in(self, name: str, data: dict[str, Any]) -> None:
        match name.partition("."):
            case ("kit", _, _) if "out" in data:
                self._take_in_custody(data)
            case ("kit", _, "withheld" | "released"):
                self.on_hold.pop(data["kit"], None)
                if data["reasons"]:
                    self.on_hold[data["kit"]] = data["reasons"]
            case ("kit", _, "readiness_changed"):
                assert self.words.get(data["kit"]) == data["before"] != data["word"]
                self.words[data["kit"]] = data["word"]
            case ("reservation", _, "made"):
                self.reserved.add((data["kit"], data["trip"]))
            case ("reservation", _, "released"):
                self.reserved.discard((data["kit"], data["trip"]))
            case ("trip", _, _) if "coverage" in data:
                before = self.coverage.get(data["trip"], Coverage.UNCOVERED)
                assert before == data["before"] != data["coverage"]
                self.coverage[data["trip"]] = data["coverage"]
            case ("trip", _, "moved"):
                pass  # of every room, as this reads: the update comes with it
            case ("trip", _, _):
                self.trips[data["trip"]] = data
            case ("lot", _, _) if data["open"]:
                self.open_recalls.add(data["recall"])
            case ("recall", _, _):
                self.open_recalls.discard(data["recall"])
            case ("stock", _, "low"):
                self.low.add((data["room"], data["item"]))
            case ("stock", _, "enough"):
                self.low.discard((data["room"], data["item"]))

    def _take_in_custody(self, data: dict[str, Any]) -> None:
        if data["late"]:
            return
        part = data["kit"], data["section"]
        self.holders.pop(part, None)
        self.due.pop(part, None)
        if data["out"]:
            self.holders[part], self.due[part] = data["holder"], data["due_at"]

    # --------------------------------------------------------------------------- what is so
    def check(self) -> None:
        """Assert that what it knows of acts is so."""
        out = {
            (row.kit_id, row.section.section_key if row.section else None): row
            for row in Checkout.objects.open().select_related("section")
        }
        assert self.holders == {part: row.person_id for part, row in out.items()}
        assert self.due == {
            part: instant(row.due_at) if row.due_at else None for part, row in out.items()
        }
        held = Withholding.objects.open().filter(kit__isnull=False).order_by("kind")
        assert self.on_hold == dict(grouped(held.values_list("kit", "kind")))
        promised = Reservation.objects.promised().values_list("kit", "trip")
        assert self.reserved == set(promised)
        recalls = Recall.objects.filter(closed=None).values_list("pk", flat=True)
        assert self.open_recalls == set(recalls)
        for trip in Trip.objects.filter(pk__in=self.trips):
            known = self.trips[trip.pk]
            assert known["revision"] == trip.revision
            assert known["cancelled"] == (trip.cancelled_at is not None)
            assert known["departs_at"] == instant(trip.departs_at)
            assert known["last_day"] == trip.last_day.isoformat()

    def check_words(self, now: datetime) -> None:
        """Assert that the words that it knows are those of now."""
        kits = list(Kit.objects.filter(retired_on=None).select_related("home_room"))
        judged = verdicts.judged(kits)
        assert {kit.pk: self.words.get(kit.pk) for kit in kits} == {
            pk: row.verdict.word.value for pk, row in judged.items()
        }
        trips = Trip.objects.filter(cancelled_at=None, returns_at__gt=now)
        for row in trip_readiness.judge_trips(trips.select_related("room", "leader")):
            assert self.coverage.get(row.trip.pk, Coverage.UNCOVERED) == row.coverage
        stocked = stock_levels.stocked(list(Room.objects.all()))
        low = {(row.room.pk, row.item.pk) for rows in stocked.values() for row in rows if row.low}
        assert self.low == low
