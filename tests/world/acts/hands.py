"""Habits of whoever has a kit in the hand: taken, handed back, passed on, used."""

from datetime import timedelta
from typing import Any

from tests.present import present
from tests.world.acts.evening import brought_back, put_in_besides, said_besides, went
from tests.world.acts.people import (
    GUIDES,
    HANDS,
    ROOM,
    Moment,
    habit,
    inside,
    short_reason,
    sorted_before,
)
from tests.world.acts.permits import may
from tests.world.acts.reports import Report
from tests.world.says import SHORT, STOPS, local_day


@habit
def take_for_trip(m: Moment) -> list[Report]:
    """The guide of a trip takes the kit that is reserved for it; sometimes nobody is named."""
    for p in sorted(m.book.promises.values(), key=lambda p: not m.fit(p["kit"])):
        trip = m.book.trips[p["trip"]]
        soon = trip["first"] <= local_day(m.now) + timedelta(days=1)
        over = not p["open"] or m.book.ended(p, m.now)
        if over or m.book.kits[p["kit"]]["out"] or not soon:
            continue
        guide = p["person"] or trip["leader"]
        body: dict[str, Any] = {"trip": f"bookings:{p['trip']}"} if m.rng.random() < 0.5 else {}
        if m.rng.random() < 0.7:
            body["person"] = m.number_of(guide)
        by, body = lets_it_go(m, p["kit"], guide), short_reason(m, body)
        take = m.of_kit("take-out", by, p["kit"], body, "check-out")
        return [*sorted_before(m, p["kit"], by), take]
    return []


def lets_it_go(m: Moment, kit: str, guide: str) -> str:
    """The guide, where the kit is there for them; a keeper, as a rule, where it is short."""
    short = m.book.verdict(kit, *m.book.question(kit, m.now), m.now) == "short"
    by_keeper = short and m.rng.random() < 0.8
    return "Kim" if by_keeper or not may(guide, "take-out", m.book.kits[kit]["room"]) else guide


@habit
def take_without_trip(m: Moment) -> list[Report]:
    """Somebody takes a kit for no trip, says so or leaves it open."""
    if not (kit := m.fit_kit()):
        return []
    by = m.hand(kit, *GUIDES, "Ines")
    body: dict[str, Any] = {"person": m.number_of(by)}
    if m.rng.random() < 0.6:
        body["trip"] = None
    if m.rng.random() < 0.3:
        body["due_at"] = (m.now + timedelta(hours=m.rng.randint(5, 60))).isoformat()
    take = m.of_kit("take-out", by, kit, short_reason(m, body), "check-out")
    return [*sorted_before(m, kit, by), take]


@habit
def two_scans(m: Moment) -> list[Report]:
    """A guide's tag and the kit that is reserved for them are scanned: it goes, without a tap."""
    for p in sorted(m.book.promises.values(), key=lambda p: not m.fit(p["kit"])):
        trip, kit = m.book.trips[p["trip"]], p["kit"]
        soon = trip["first"] <= local_day(m.now) + timedelta(days=1)
        guides = {m.book.guide(kit, q["trip"]) for q in m.book.standing(kit, m.now)}
        over = not p["open"] or m.book.ended(p, m.now)
        if over or m.book.kits[kit]["out"] or not soon or len(guides) != 1:
            continue
        (guide,) = guides
        by = lets_it_go(m, kit, present(guide))
        said = short_reason(m, {})
        report = m.report(
            "take-out", by, "scans/", {"person": m.number_of(present(guide)), **said}, kit
        )
        report.sent = {"intent": "check-out", "texts": [m.school["tags"][guide], kit], **said}
        return [*sorted_before(m, kit, by), report]
    return []


@habit
def take_cleared_by_phone(m: Moment) -> list[Report]:
    """What is short, or lacks a must-have, goes because somebody says so by telephone; where none
    is, the masks of one are used first."""
    names = [name for name, k in m.book.kits.items() if not k["out"] and k["entered"]]
    m.rng.shuffle(names)
    weighty = {kit: _weighty(m, kit) for kit in names}
    by_phone = [
        kit for kit in names
        if all(x.startswith("short") for x, w in weighty[kit].items() if w == STOPS)
    ]  # fmt: skip
    for kit in sorted(by_phone, key=lambda kit: not weighty[kit]):
        by = m.hand(kit, *GUIDES)
        who = m.number_of(m.rng.choice(("Kim", "Kim", "Kim", "Kim", "Ines", "Ada")))
        body = {"person": m.number_of(by), "cleared_by": who, "take_reason": "No other is here"}
        take = m.of_kit("take-out", by, kit, body, "check-out")
        return [take] if weighty[kit] else [*_masks_used(m, kit, by), take]
    return []


def _weighty(m: Moment, kit: str) -> dict[str, int]:
    reasons = m.book.reasons(kit, *m.book.question(kit, m.now), m.now)
    return {x: w for x, w in reasons.items() if w >= SHORT}


def _masks_used(m: Moment, kit: str, by: str) -> list[Report]:
    held = m.book.contents(kit).items()
    masks = {lot: units for lot, units in held if m.book.lots[lot]["item"] == "mask"}
    for lot, units in masks.items():
        m.hook.use(kit, lot, units)
    rows = [{"lot": str(lot), "units": units} for lot, units in masks.items()]
    report = m.of_kit("use", by, kit, {"used": rows})
    report.fixed["before"] = True
    return [report] if rows else []


@habit
def say_whether_it_was_cleared(m: Moment) -> list[Report]:
    """Who is said to have cleared a kit confirms it, or says that they did not."""
    asked = [r for r in m.reports if r.fixed.get("clearance")]
    answered = {r.fixed["of"] for r in m.reports if r.act == "clearance"}
    for r in sorted(asked, key=lambda r: r.fixed["clearance"] in answered):
        number, person = r.fixed["clearance"], m.school["people"][r.body["cleared_by"]]
        by = person if m.rng.random() < 0.9 else "Ben"
        body = {"confirmed": m.rng.random() < 0.6}
        report = m.report("clearance", by, f"clearances/{number}/answer/", body, r.kit)
        report.fixed |= {"of": number, "asked": person, "answered": number in answered}
        return [report]
    return []


@habit
def take_anothers(m: Moment) -> list[Report]:
    """A guide takes a kit that is reserved for somebody else's trip."""
    for p in m.book.promises.values():
        if p["open"] and not m.book.kits[p["kit"]]["out"] and not m.book.ended(p, m.now):
            trip = m.book.trips[p["trip"]]
            other = [g for g in GUIDES if g not in (p["person"], trip["leader"])]
            by = m.hand(p["kit"], *other, "Kim", "Kim")
            body: dict[str, Any] = {"person": m.number_of(by if by != "Kim" else other[0])}
            if m.rng.random() < 0.3:
                body["trip"] = f"bookings:{p['trip']}"
            if m.rng.random() < 0.8:
                body["take_reason"] = "Nothing else is here"
            take = m.of_kit("take-out", by, p["kit"], short_reason(m, body), "check-out")
            return [*sorted_before(m, p["kit"], by), take]
    return []


@habit
def take_reported_late(m: Moment) -> list[Report]:
    """It went hours ago, and is said only now."""
    if not (kit := m.kit()):
        return []
    by = m.hand(kit, *GUIDES)
    body = {
        "person": m.number_of(by),
        "trip": None,
        "already_gone": True,
        "occurred_at": (m.now - timedelta(hours=m.rng.randint(1, 30))).isoformat(),
        "due_at": (m.now + timedelta(hours=m.rng.randint(2, 40))).isoformat(),
    }
    return [m.of_kit("take-out", by, kit, body, "check-out")]


@habit
def emergency(m: Moment) -> list[Report]:
    """Somebody needs it now, whatever its state."""
    if not (kit := m.kit()):
        return []
    by = m.rng.choice(HANDS)
    body: dict[str, Any] = {"emergency": True}
    if m.rng.random() < 0.3:
        body["person"] = m.number_of(m.rng.choice(GUIDES))
    return [m.of_kit("take-out", by, kit, body, "check-out")]


# ---- handing back
def _back(m: Moment, body: dict[str, Any], kit: str | None = None) -> list[Report]:
    kit = kit or m.kit(lambda k: k["out"])
    if not kit:
        return []
    by = m.rng.choice(HANDS)
    body |= said_besides(m, kit)
    return [*brought_back(m), m.of_kit("hand-back", by, kit, body, "check-in")]


@habit
def hand_back_sealed(m: Moment) -> list[Report]:
    kit = m.kit(lambda k: k["out"] and k["seal"]) or m.kit(lambda k: k["out"])
    if not kit:
        return []
    body = {"as_found": "sealed-and-dry"}
    seal = m.book.kits[kit]["seal"]
    if m.rng.random() < 0.6:
        body["seal_seen"] = seal[-3:] if seal and m.rng.random() < 0.8 else "X-999"
    return _back(m, body, kit)


@habit
def hand_back_closed(m: Moment) -> list[Report]:
    """Closed, nothing used: whether or not a seal is on record."""
    return _back(m, {"as_found": "closed"})


@habit
def hand_back_later(m: Moment) -> list[Report]:
    body: dict[str, Any] = {"as_found": "sort-later"}
    if m.rng.random() < 0.15:
        body["wet"] = True
    if m.rng.random() < 0.15:
        body["wrong"] = "The zip is torn"
    return _back(m, body)


@habit
def hand_back_opened(m: Moment) -> list[Report]:
    """Opened, with what was used; now and then more than was in it, or nothing said of it."""
    kit = m.kit(lambda k: k["out"] and k["entered"])
    if not kit:
        return []
    return _back(m, {"as_found": "opened", "used": used_up(m, kit)}, kit)


def used_up(m: Moment, kit: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for lot in m.rng.sample(sorted(m.hook.inside[kit]), min(2, len(m.hook.inside[kit]))):
        item, units = m.book.lots[lot]["item"], m.rng.randint(1, 2)
        if item == "gauge":
            continue
        m.hook.use(kit, lot, units)
        # Which batch of the recalled thing it was is always looked at; of others seldom.
        opened = any("opened" in m.book.lots[x] for x in m.book.contents(kit))
        named = item in ("gauze", "pad") or opened or m.rng.random() < 0.3
        row = {"lot": str(lot)} if named else {"item": m.school["item_ids"][item]}
        if not any(set(row.items()) < set(other.items()) for other in rows):
            rows.append({**row, "units": units, **went(m, item, named)})
    return rows or [{"item": m.school["item_ids"]["drops"], "units": 1}]


@habit
def hand_back_in_another_room(m: Moment) -> list[Report]:
    kit = m.kit(lambda k: k["out"])
    if not kit:
        return []
    by = m.rng.choice(("Ada", "Ben", "Cleo", "Kim"))
    room = ROOM.get(by) or m.rng.choice(("main-store", "cave-hut"))
    body = {"as_found": "sort-later", "room": room}
    return [*brought_back(m), m.of_kit("hand-back", by, kit, body, "check-in")]


@habit
def hand_back_the_wrong_kit(m: Moment) -> list[Report]:
    """The label of a kit that stands on its shelf is scanned."""
    return _back(m, {"as_found": "sort-later"}, m.kit(lambda k: not k["out"]))


# ---- on the way
@habit
def use(m: Moment) -> list[Report]:
    if not (kit := m.kit(lambda k: k["entered"])):
        return []
    body: dict[str, Any] = {"used": used_up(m, kit)}
    if m.rng.random() < 0.3:
        body["occurred_at"] = (m.now - timedelta(hours=m.rng.randint(1, 20))).isoformat()
    by = m.holder(kit)
    return [*put_in_besides(m, kit, by), m.of_kit("use", by, kit, body)]


@habit
def use_without_saying(m: Moment) -> list[Report]:
    if kit := m.kit(lambda k: k["entered"]):
        used_up(m, kit)
    return []


@habit
def pass_on(m: Moment) -> list[Report]:
    if not (kit := m.kit(lambda k: k["out"])):
        return []
    by = m.holder(kit)
    whom = m.known_to(by, *GUIDES)  # now and then whoever has it already
    passed = m.of_kit("pass", by, kit, {"person": m.number_of(whom)})
    return [*put_in_besides(m, kit, by), passed]


# ---- from a phone without a network
@habit
def five_from_a_phone(m: Moment) -> list[Report]:
    """Five acts of an afternoon, sent in any order, by a clock that goes wrong."""
    if not (kit := m.kit(lambda k: inside(k) and not k["withheld"])):
        return []
    by = m.hand(kit, *GUIDES)
    other = m.known_to(by, *(name for name in HANDS if name != by))
    wrong = timedelta(minutes=m.rng.choice((0, 0, 45, -90)))
    acts = [
        m.of_kit("take-out", by, kit, _gone(m, by), "check-out"),
        m.of_kit("use", by, kit, {"used": used_up(m, kit)}),
        m.of_kit("pass", by, kit, {"person": m.number_of(other)}),
        m.of_kit("use", by, kit, {"used": used_up(m, kit)}),
        m.of_kit("hand-back", by, kit, {"as_found": "sort-later"}, "check-in"),
    ]
    for minutes, report in zip((300, 240, 180, 120, 60), acts, strict=True):
        report.body["occurred_at"] = (m.now + wrong - timedelta(minutes=minutes)).isoformat()
        report.fixed["wrong"] = wrong
    m.rng.shuffle(acts)
    return acts


def _gone(m: Moment, by: str) -> dict[str, Any]:
    due = (m.now + timedelta(hours=4)).isoformat()
    return {"person": m.number_of(by), "trip": None, "already_gone": True, "due_at": due}
