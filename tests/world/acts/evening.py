"""What the evening brings besides: things needed and not there, two kits mixed up, what may come
back, somebody's own inhaler. They ride on other acts, and are counted apart."""

from collections import Counter
from typing import TYPE_CHECKING, Any

from tests.world.acts.people import HANDS, Moment
from tests.world.acts.permits import may
from tests.world.acts.reports import Report
from tests.world.says import local_day

if TYPE_CHECKING:
    from tests.world.play import Week

RIDERS = frozenset(
    {"needed", "mixed-with", "given-back", "not-ours", "in-class", "may-come-back", "come-back"}
)
_OTHER = {"DAY-01": "DAY-02", "DAY-02": "DAY-01"}


# ---- what people add to what they do
def said_besides(m: Moment, kit: str) -> dict[str, Any]:
    """What is said with a hand-back of a kit."""
    more: dict[str, Any] = {}
    if m.rng.random() < 0.3:
        more["needed"] = [{"words": m.rng.choice(("A tick remover", "More light", "A big towel"))}]
    if kit in _OTHER and m.book.kits[_OTHER[kit]]["entered"] and m.rng.random() < 0.3:
        more["mixed_with"] = [_OTHER[kit]]
    if m.rng.random() < (0.9 if m.book.kits[kit]["not_ours"] else 0.15):
        more["given_back"] = True
    return more


def went(m: Moment, item: str, named: bool) -> dict[str, str]:
    """What became of what was used: where its batch is named, dressings may come back."""
    luck = m.rng.random()
    if luck < 0.75 and named and item in ("gauze", "pad"):
        return {"went": "may-come-back"}
    return {"went": "in-class"} if luck > 0.6 else {}


def put_in_besides(m: Moment, kit: str, by: str) -> list[Report]:
    """Something of a participant's own goes into a kit."""
    if m.rng.random() < 0.3:
        return []
    report = m.of_kit("not-ours", by, kit, {"inside": m.rng.random() < 0.9})
    report.fixed["before"] = True
    return [report]


def brought_back(m: Moment) -> list[Report]:
    """What went with a casualty is brought back, before something else is done."""
    there = sorted(x for x, n in m.book.stock.items() if x[0].startswith("away ") and n)
    if not there:
        return []
    place, lot = m.rng.choice(there)
    kit = place.split()[1]
    home = m.book.kits[kit]["home"]
    body = {"lot": str(lot), "units": 1, "shelf": str(m.school["shelves"][home])}
    keeper = m.rng.choice([n for n in HANDS if may(n, "come-back", home)])
    report = m.of_kit("come-back", keeper, kit, body)
    spoilt = m.book.recalled(lot) or m.book.good_through(lot) < local_day(m.now)
    goes_to = f"{'quarantine' if spoilt else 'shelf'} {home}"
    report.fixed |= {"before": True, "place": goes_to}
    return [report]


# ---- what is counted and compared
def riders(report: Report) -> Counter[str]:
    """Which of these an accepted report carried."""
    carried = [name for name in ("needed", "mixed_with", "given_back") if report.body.get(name)]
    carried += [row["went"] for row in report.body.get("used", ()) if row.get("went")]
    carried += [report.act] if report.act in ("come-back", "not-ours") else []
    return Counter(name.replace("_", "-") for name in carried)


def asked_for(week: "Week", report: Report, answer: dict[str, Any]) -> None:
    """Whoever hands a kit back hears whether something of somebody's own is in it."""
    inside = week.book.kits[report.kit]["not_ours"]
    if answer["not_ours"] != inside:
        text = f"{report.kit}: somebody's own is in it: {inside}, not {answer['not_ours']}"
        week.differs("evening", text)


def compare(week: "Week") -> None:
    """What may come back, and what was needed and not there."""
    if "evening" not in week.checks:
        return
    listed = week.doors.get("Root", "away/")["results"]
    shown = {(row["kit"], row["lot"]): row["units"] for row in listed}
    meant = {
        (place.split()[1], lot): units
        for (place, lot), units in week.book.stock.items()
        if place.startswith("away ") and units
    }
    if shown != meant:
        week.differs("evening", f"may come back: {meant}, not {shown}")
    rows = week.doors.every("Root", "unmet-needs/")
    needs = [(row["kit"], row["words"]) for row in reversed(rows)]
    if needs != week.book.needed:
        week.differs("evening", f"needed and not there: {week.book.needed}, not {needs}")
