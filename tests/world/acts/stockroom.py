"""Habits of whoever sorts kits and keeps the shelves."""

from datetime import timedelta
from typing import Any

from tests.world.acts.evening import brought_back
from tests.world.acts.people import Moment, habit, inside, whole_count
from tests.world.acts.reports import Report
from tests.world.says import local_day


@habit
def look_inside(m: Moment) -> list[Report]:
    if not (kit := m.kit(inside)):
        return []
    body: dict[str, Any] = {}
    if m.rng.random() < 0.4:
        level = m.rng.choice(("full", "low", "empty"))
        item = m.school["item_ids"]["plasters"]
        body["levels"] = [{"section": "main", "item": item, "level": level}]
    return [*brought_back(m), m.of_kit("look-inside", m.hand(kit), kit, body)]


@habit
def restock(m: Moment) -> list[Report]:
    """As the list says, or with one thing left out."""
    kit = m.kit(lambda k: inside(k) and k["to_sort"]) or m.kit(inside)
    if not kit:
        return []
    body: dict[str, Any] = {}
    if m.rng.random() < 0.3:
        left = m.rng.choice(("gauze", "drops", "mask"))
        row = {"item": m.school["item_ids"][left], "section": "main", "instead": []}
        body["exceptions"] = [row]
    return [m.of_kit("restock", m.hand(kit), kit, body)]


@habit
def restock_with_the_wrong_batch(m: Moment) -> list[Report]:
    """What is said to be one batch is another, in truth; or it is out of date and says so."""
    if not (kit := m.kit(inside)):
        return []
    shelf = f"shelf {m.book.kits[kit]['room']}"
    there = [lot for lot in m.book.contents(shelf) if m.book.lots[lot]["item"] != "gauge"]
    if not there:
        return []
    lot = m.rng.choice(sorted(there))
    place = m.school["shelves"][m.book.kits[kit]["room"]]
    extra = [{"lot": str(lot), "shelf": str(place), "section": "main", "units": 1}]
    report = m.of_kit("restock", m.hand(kit), kit, {"as_listed": False, "extra": extra})
    report.fixed["really"] = m.rng.choice(sorted(there))
    return [report]


@habit
def reseal(m: Moment) -> list[Report]:
    if not (kit := m.kit(inside)):
        return []
    seal = f"S-{m.hook.next('seal', 400)}"
    if m.rng.random() < 0.1:
        seal = next((k["seal"] for k in m.book.kits.values() if k["seal"]), seal)
    body: dict[str, Any] = {"seal": seal}
    if m.rng.random() < 0.6:
        body["anyway"] = True
    return [*brought_back(m), m.of_kit("reseal", m.hand(kit), kit, body)]


@habit
def count(m: Moment) -> list[Report]:
    """What is really there, batch by batch."""
    if not (kit := m.kit(lambda k: k["entered"])):
        return []
    return [*brought_back(m), whole_count(m, kit, m.hand(kit))]


@habit
def open_pack(m: Moment) -> list[Report]:
    """A bottle of drops is opened in the kit: from now on it is good for three days."""
    kit = m.kit(lambda k: k["entered"])
    lots = [x for x in m.book.contents(kit or "") if m.book.lots[x]["item"] == "drops"]
    lots = [x for x in lots if "opened" not in m.book.lots[x]]
    if not kit or not lots:
        return []
    place = str(m.book.kits[kit]["section"])
    body = {"place": place, "lot": str(m.rng.choice(lots)), "units": 1}
    return [m.report("open", m.hand(kit), "stock/open/", body, kit)]


@habit
def build(m: Moment) -> list[Report]:
    """A kit whose contents nobody has entered yet is filled."""
    kit = m.kit(lambda k: not k["entered"] and not k["out"] and k["room"] == k["home"])
    return [m.of_kit("build", "Kim", kit, {})] if kit else []


@habit
def check(m: Moment) -> list[Report]:
    """The gauge is looked at; seldom it fails, sometimes the next check is soon."""
    kit = m.kit(inside)
    gauges = [x for x in m.book.contents(kit or "") if m.book.lots[x]["item"] == "gauge"]
    if not kit or not gauges:
        return []
    body: dict[str, Any] = {"passed": m.rng.random() < 0.8, "lot": str(gauges[0])}
    if m.rng.random() < 0.5 and body["passed"]:
        days = m.rng.choice((2, 4, 60))
        body["due_on"] = (local_day(m.now) + timedelta(days=days)).isoformat()
    report = m.of_kit("check", m.hand(kit), kit, body)
    report.fixed["lot"] = gauges[0]
    return [*brought_back(m), report]


@habit
def withhold(m: Moment) -> list[Report]:
    if not (kit := m.kit()):
        return []
    kind = m.rng.choice(("drying", "something-wrong"))
    return [m.of_kit("withhold", m.hand(kit), kit, {"kind": kind})]


@habit
def release(m: Moment) -> list[Report]:
    mixed = m.rng.random() < 0.15  # that is ended by a count alone
    kit = m.kit(lambda k: k["withheld"] if mixed else k["withheld"] - {"mixed"})
    if not kit:
        return []
    kinds = sorted(m.book.kits[kit]["withheld"], key=lambda kind: (kind == "mixed", kind))
    kind = kinds[0] if m.rng.random() < 0.9 else "keep-as-it-came-back"
    return [
        m.of_kit(
            "release", m.hand(kit, "Kim", "Kim", "Kim", "Kim", "Ines", "Ada"), kit, {"kind": kind}
        )
    ]


# ---- stock
@habit
def receive(m: Moment) -> list[Report]:
    room = m.rng.choice(("main-store", "cave-hut"))
    item = m.rng.choice(("mask", "drops", "gauze", "pad"))
    expiry = local_day(m.now) + timedelta(days=m.rng.choice((3, 20, 200)))
    body = {
        "shelf": str(m.school["shelves"][room]),
        "item": m.school["item_ids"][item],
        "number": f"R{m.hook.next('lot')}",
        "expiry": expiry.isoformat(),
        "units": m.rng.randint(1, 4),
    }
    by = m.rng.choice(("Kim", "Kim", "Kim", "Kim", "Ada"))
    report = m.report("receive", by, "stock/receive/", body)
    batch = {"item": item, "number": body["number"], "expiry": expiry}
    report.fixed |= {"batch": batch, "place": f"shelf {room}"}
    return [report]


@habit
def recall(m: Moment) -> list[Report]:
    """The maker of the gauze calls a batch back."""
    if any(x["open"] for x in m.book.recalls.values()) and m.rng.random() < 0.8:
        return []
    body = {
        "item": m.school["item_ids"]["gauze"],
        "scope": "number",
        "number": m.rng.choice(("G1", "G2", "G3")),
    }
    return [m.report("recall", m.rng.choice(("Kim", "Kim", "Kim", "Ben")), "recalls/", body)]


@habit
def close(m: Moment) -> list[Report]:
    numbers = sorted(m.book.recalls, reverse=True)
    if not numbers:
        return []
    body = {"outcome": "withdrawn", "published_at": "Letter of the maker, 3 October"}
    if m.rng.random() < 0.3:
        body = {"outcome": "finished", "reason": "All of it was looked for"}
    report = m.report("close", "Ona", f"recalls/{numbers[0]}/close/", body)
    report.fixed["id"] = numbers[0]
    return [report]
