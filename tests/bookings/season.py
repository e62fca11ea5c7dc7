"""What a season brings: trips, and what becomes of them. Everything follows from a seed, so that a
program that was killed decides the same again."""

import random
from datetime import datetime, timedelta
from typing import Any

Trip = dict[str, Any]
"""A trip as it is sent."""

ROOMS = ("main-store", "cave-hut")
NAMES = ("Hill day", "Beck walk", "Cave day", "Gorge day", "Ridge walk", "Night walk", "Lake day")
LEADERS = (("Robin Example", "01632 960001"), ("Ash Sample", "01632 960002"), ("", ""))
HAZARDS: tuple[list[str], ...] = ([], ["hill"], ["hill"], ["hill", "water"], ["cave"])
DAYS = 100
"""The season is so long."""
CHUNK = 90
"""So many trips are entered at once when the season is planned."""
CHANGES = 12
"""So many are changed at once when it is gone through again."""


def steps(seed: int, trips: int, more: int) -> list[str]:
    """What is done one after the other: the season's first trips, then `more` acts mixed with the
    rest of the trips, and a plan for all of them before and among those. Before all of it the
    booking system asks for a webhook, in between for a new secret; it polls the events too."""
    planned = trips * 9 // 10 // CHUNK
    mixed = ["book"] * (trips - planned * CHUNK)
    weights = {
        "change": 8,
        "cancel": 3,
        "bring-back": 2,
        "propose": 6,
        "release": 3,
        "change-many": 1,
    }
    mixed += random.Random(f"{seed} acts").choices(
        list(weights), weights=list(weights.values()), k=more
    )
    random.Random(f"{seed} order").shuffle(mixed)
    mixed.insert(len(mixed) // 2, "plan")
    mixed.insert(len(mixed) // 3, "rotate")
    for after in range(len(mixed), 0, -30):
        mixed.insert(after, "poll")
    return ["subscribe", *["book-many"] * planned, "plan", *mixed]


def trip(seed: int, number: int, begins: datetime) -> Trip:
    """The trip of that number. The first ones depart within the hour."""
    chance = random.Random(f"{seed} trip {number}")
    day = 0 if number < 4 else chance.randrange(DAYS)
    departs = begins + timedelta(days=day, minutes=chance.randrange(10, 60))
    leader, phone = chance.choice(LEADERS)
    return {
        "name": f"{chance.choice(NAMES)} {number}",
        "room": chance.choice(ROOMS),
        "departs_at": departs.isoformat(),
        "returns_at": (
            departs + timedelta(days=chance.choice((0, 0, 0, 1, 4)), hours=8)
        ).isoformat(),
        "people": chance.randrange(2, 21),
        "hazards": chance.choice(HAZARDS),
        "hours_to_care": chance.choice((None, "1.5", "4.0")),
        "children": chance.random() < 0.2,
        "latex_free": False,
        "leader_name": leader,
        "leader_phone": phone,
        "state": chance.choice(("planned", "confirmed", "confirmed")),
    }


def changed(before: Trip, chance: random.Random) -> Trip:
    """The trip after one change to it."""
    departs = datetime.fromisoformat(before["departs_at"])
    returns = datetime.fromisoformat(before["returns_at"])
    days, hours = timedelta(days=chance.randrange(1, 9)), timedelta(hours=chance.randrange(1, 30))
    leader, phone = chance.choice(LEADERS)
    change: Trip = chance.choice((
        {"name": f"{before['name']}, changed"},
        {"departs_at": (departs + days).isoformat(), "returns_at": (returns + days).isoformat()},
        {"returns_at": (returns + hours).isoformat()},
        {"people": chance.randrange(2, 21)},
        {"room": ROOMS[1 - ROOMS.index(before["room"])]},
        {"hazards": chance.choice(HAZARDS)},
        {"leader_name": leader, "leader_phone": phone},
        {"children": not before["children"]},
        {"state": "confirmed"},
        {},  # saved without a change: it is sent all the same
    ))  # fmt: skip
    return {**before, **change}
