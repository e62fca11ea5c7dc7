"""Habits of the booking system and of whoever reserves kits."""

from datetime import datetime, timedelta
from typing import Any

from tests.world.acts.people import GUIDES, ROOM, Moment, habit, sorted_before
from tests.world.acts.reports import Report
from tests.world.says import ZONE, local_day


def trip_body(m: Moment, first: int, days: int) -> dict[str, Any]:
    day = local_day(m.now) + timedelta(days=first)
    leader = m.rng.choice(GUIDES)
    starts = datetime(day.year, day.month, day.day, 8, 30, tzinfo=ZONE)
    return {
        "name": f"Trip {m.hook.next('trip name')}",
        "room": ROOM[leader],
        "departs_at": starts.isoformat(),
        "returns_at": (starts + timedelta(days=days - 1, hours=9)).isoformat(),
        "people": m.rng.choice((4, 6, 6, 8, 12)),
        "hazards": _hazards(m, "cave" if ROOM[leader] == "cave-hut" else "hill"),
        "leader": int(m.number_of(leader)),
        "cancelled": False,
    }


def _hazards(m: Moment, usual: str) -> list[str]:
    if m.rng.random() < 0.4:
        return []
    return [usual if m.rng.random() < 0.8 else m.rng.choice(("hill", "cave"))]


def _put(m: Moment, reference: str, body: dict[str, Any]) -> list[Report]:
    report = m.report("trip", "Bookings", f"trips/bookings/{reference}/", body)
    report.fixed["trip"] = reference
    return [report]


@habit
def put_trip(m: Moment) -> list[Report]:
    if sum(not t["cancelled"] and t["returns"] > m.now for t in m.book.trips.values()) >= 3:
        return []
    soon = m.now.astimezone(ZONE).hour >= 15  # what leaves today has left by then
    first = max(m.rng.choice((0, 0, 1, 1, 1, 1, 1, 2, 3, 6, 20)), soon)
    body = trip_body(m, first, m.rng.choice((1, 1, 2, 3)))
    return _put(m, f"T{m.hook.next('trip')}", body)


def _last_body(m: Moment, reference: str) -> dict[str, Any]:
    of_it = [r for r in m.reports if r.act == "trip" and r.fixed["trip"] == reference]
    return dict(next(r.body for r in reversed(of_it) if r.accepted))


def _changed(m: Moment) -> str | None:
    open_trips = [
        ref for ref, t in m.book.trips.items() if not t["cancelled"] and t["returns"] > m.now
    ]
    return m.rng.choice(open_trips) if open_trips else None


@habit
def move_trip(m: Moment) -> list[Report]:
    if not (ref := _changed(m)):
        return []
    body, by = _last_body(m, ref), timedelta(days=m.rng.choice((-1, 1, 2)))
    for name in ("departs_at", "returns_at"):
        body[name] = (datetime.fromisoformat(body[name]).astimezone(ZONE) + by).isoformat()
    return _put(m, ref, body)


@habit
def extend_trip(m: Moment) -> list[Report]:
    if not (ref := _changed(m)):
        return []
    body = _last_body(m, ref)
    returns = datetime.fromisoformat(body["returns_at"]).astimezone(ZONE) + timedelta(days=1)
    return _put(m, ref, {**body, "returns_at": returns.isoformat()})


@habit
def cancel_trip(m: Moment) -> list[Report]:
    if not (ref := _changed(m)):
        return []
    return _put(m, ref, {**_last_body(m, ref), "cancelled": True})


@habit
def reserve(m: Moment) -> list[Report]:
    """A kit for a trip, mostly for one that has none yet."""
    if not (ref := _changed(m)):
        return []
    if m.book.kits_of(ref) and m.rng.random() < 0.7:
        ref = _changed(m) or ref
    usual = [name for name, k in m.book.kits.items() if k["home"] == m.book.trips[ref]["room"]]
    kit = m.rng.choice(usual if m.rng.random() < 0.8 else sorted(m.book.kits))
    if any((p["kit"], p["trip"], p["open"]) == (kit, ref, True) for p in m.book.promises.values()):
        return []
    body = {"kit": kit, "trip": f"bookings:{ref}"}
    if m.rng.random() < 0.2:
        body["person"] = m.number_of(m.rng.choice(GUIDES))
    return [m.report("reserve", m.rng.choice(("Bookings", "Kim")), "reservations/", body, kit)]


@habit
def unreserve(m: Moment) -> list[Report]:
    numbers = [n for n, p in m.book.promises.items() if p["open"]]
    if not numbers:
        return []
    number = m.rng.choice(numbers)
    report = m.report("unreserve", "Kim", f"reservations/{number}/release/", {})
    report.fixed["id"] = number
    return [report]


@habit
def swap(m: Moment) -> list[Report]:
    """Another kit of the same list, which nobody wants, goes instead of the reserved one."""
    for number, p in sorted(m.book.promises.items()):
        trip = m.book.trips[p["trip"]]
        other = {"DAY-01": "DAY-02", "DAY-02": "DAY-01"}.get(p["kit"])
        if not p["open"] or not other or m.book.ended(p, m.now) or trip["last"] < local_day(m.now):
            continue
        free = not any(q["kit"] == other for q in m.book.standing(other, m.now))
        if free and not m.book.kits[other]["out"] and not m.book.kits[p["kit"]]["out"]:
            by = m.hand(other, "Kim", "Ines")
            report = m.report("swap", by, f"reservations/{number}/swap/", {"kit": other}, other)
            report.fixed["id"] = number
            return [*sorted_before(m, other, by), report]
    return []
