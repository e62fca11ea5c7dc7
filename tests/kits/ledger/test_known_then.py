"""What was known then stays: no later act changes an answer that was given of the past."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest

from gearroom.core import clock
from gearroom.core.acts import SYSTEM
from kits.models import Entry, Kit, ListSection, Lot, PackingListVersion, RecallScope, WithheldKind
from kits.rules.ledger.facts import Criticality
from kits.services.custody import custody, passing_on, use
from kits.services.custody.use import UseLine
from kits.services.kits import history, holds, inspection, kits, record
from kits.services.ledger.undo import reversal
from kits.services.lists import signatures
from kits.services.recalls import closing, recalls
from kits.services.restocking import sealing
from kits.services.stock import catalogue, corrections, instruments, reclassifying
from kits.services.text import reason_texts
from tests.kits import factories as make
from tests.kits.factories import act, caller, days, fresh, world

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> make.World:
    return world()


def as_known(kit: Kit, instant: datetime) -> dict[str, Any]:
    """The whole record as it was known at an instant, as plain values."""
    kit = fresh(kit)
    found = record.record(kit, known_by=instant)
    inside = history.contents(kit, on=instant, known_by=instant)
    return {
        "inside": (inside.name, inside.seal, inside.holder, _lines(inside), _levels(inside)),
        "list": (found.version.pk, found.version.signed_by, found.version.signed_until),
        "responsible": found.responsible,
        "look by": found.look_by,
        "recalled": found.recalled,
        "withheld": list(found.withheld),
        "pouches": [
            (
                p.name,
                [(a.item.name, a.item.by_eye, a.carry, a.there, a.good, a.level) for a in p.listed],
            )
            for p in found.pouches
        ],
        "checks": [(c.lot.pk, c.check and c.check.passed) for c in found.instruments],
        "pack": _pack(inspection.inspection(SYSTEM, kit, known_by=instant)),
    }


def _pack(of: inspection.Inspection) -> Any:
    """What an inspector's pack says besides the record."""
    acts = [
        [(each.entry.pk, each.undone and each.undone.pk) for each in some]
        for some in (of.custody, of.seals, of.looks, of.irregular)
    ]
    recalls = [(each.pk, each.item.name, each.outcome) for each in of.recalls]
    verdict = reason_texts.reasons(of.verdict.reasons)
    left_out = [(line.name, line.words) for line in of.not_carried]
    return (of.verdict.word, verdict, acts, recalls, left_out)


def _lines(inside: history.Contents) -> list[Any]:
    return [
        (c.section.section_key, c.lot.item.name, c.number, c.expiry, c.units) for c in inside.lines
    ]


def _levels(inside: history.Contents) -> list[Any]:
    return [(place.section_key, item.name, level) for place, item, level in inside.levels]


def entry_of(kit: Any, kind: str) -> Entry:
    return Entry.objects.filter(kit=kit, kind=kind).latest("id")


def another_list(school: Any) -> PackingListVersion:
    """A list whose section has another name and stands the other way round."""
    version = make.kit_list(
        "Walks", {"pouch": [(school.tablets, 2, 0, Criticality.ROUTINE)], "main": []}
    )
    ListSection.objects.filter(version=version, key="main").update(name="Big one")
    return PackingListVersion.objects.get(pk=version.pk)


CHANGES: dict[str, Callable[[make.World], object]] = {
    "use": lambda s: use.log_use(act(s.keeper), s.day_01, [UseLine(s.dressing, 2)]),
    "undoing the restock": lambda s: reversal.reverse(
        act(s.keeper), entry_of(s.day_01, "restock").pk
    ),
    "undoing the sealing": lambda s: reversal.reverse(
        act(s.keeper), entry_of(s.day_01, "reseal").pk
    ),
    "undoing the taking out": lambda s: reversal.reverse(
        act(s.keeper), entry_of(s.day_01, "check-out").pk
    ),
    "undoing what keeps it back": lambda s: reversal.reverse(
        act(s.keeper), entry_of(s.day_01, "withhold").pk
    ),
    "handing back": lambda s: custody.check_in(act(s.keeper), s.day_01),
    "passing on": lambda s: passing_on.pass_on(act(s.keeper), s.day_01, s.instructor),
    "a release": lambda s: holds.release(act(s.keeper), s.day_01, WithheldKind.DRYING),
    "a recall": lambda s: recalls.start(
        act(), item=s.dressing, scope=RecallScope.NUMBER, number="D1"
    ),
    "a corrected batch": lambda s: corrections.correct(
        act(reason="misread"), s.dressings, number="D9", expiry=days(2)
    ),
    "another item's name": lambda s: catalogue.edit_item(act(), s.dressing, name="A pad"),
    "an item that no longer needs a date": lambda s: catalogue.edit_item(
        act(), s.dressing, sterile=False
    ),
    "something that will do instead": lambda s: catalogue.put_substitute(
        act(), s.shears, s.dressing
    ),
    "a new signature": lambda s: signatures.sign(act(s.adviser), s.version, until=days(900)),
    "another kit list": lambda s: kits.follow_list(act(), s.day_01, another_list(s)),
    "another name": lambda s: kits.edit_kit(act(), s.day_01, name="HILL-9"),
    "somebody else responsible": lambda s: kits.edit_kit(act(), s.day_01, responsible=s.keeper),
    "another interval": lambda s: kits.edit_kit(act(), s.day_01, look_interval_days=9),
    "a check": lambda s: instruments.check(act(s.keeper), s.lots["gauge"], passed=False),
}


@pytest.mark.parametrize("change", CHANGES)
def test_an_answer_of_the_past_is_the_same_after(school: make.World, change: str) -> None:
    make.put_in(school.day_01, school.lots["gauge"], school.shelf, 1)
    sealing.reseal(act(school.keeper), school.day_01, "0417")
    custody.check_out(act(school.keeper), school.day_01, person=school.guide, already_gone=True)
    holds.withhold(act(school.keeper), school.day_01, WithheldKind.DRYING)
    then = clock.now()
    answer = as_known(school.day_01, then)
    said = caller(school.keeper).get(
        f"kits/DAY-01/contents/?on={then:%Y-%m-%dT%H:%M:%S.%fZ}&known_by={then:%Y-%m-%dT%H:%M:%S.%fZ}"
    )
    assert said.status_code == 200, said.content

    CHANGES[change](school)

    assert as_known(school.day_01, then) == answer
    again = caller(school.keeper).get(
        f"kits/{fresh(school.day_01).name}/contents/?on={then:%Y-%m-%dT%H:%M:%S.%fZ}"
        f"&known_by={then:%Y-%m-%dT%H:%M:%S.%fZ}"
    )
    assert again.json() == said.json()


def test_a_recall_is_known_from_when_it_was_written_until_its_maker_withdraws_it(
    school: make.World,
) -> None:
    before = clock.now()
    recall = recalls.start(act(), item=school.dressing, scope=RecallScope.NUMBER, number="D1")
    between = clock.now()
    closing.close(act(reason="told to"), recall, "finished")
    finished = clock.now()
    closing.close(act(), recall, "withdrawn", published_at="the maker's letter")

    times = (before, between, finished)
    known = [record.record(fresh(school.day_01), known_by=at).recalled for at in times]

    d1 = frozenset({school.dressings.pk})
    assert known == [frozenset(), d1, d1]
    assert record.record(fresh(school.day_01)).recalled == frozenset()


def test_what_was_opened_too_long_ago_is_not_good(school: make.World) -> None:
    place = make.section(school.day_01, "pouch")
    opened = reclassifying.open_pack(
        act(school.keeper), place=place, lot=school.lots["tablets"], units=8
    ).lot
    Lot.objects.filter(pk=opened.pk).update(opened_on=days(-100))  # they keep for 90 days

    (asked,) = record.record(fresh(school.day_01)).pouches[1].listed

    assert (asked.there, asked.good) == (8, 0)


def test_what_is_known_now_does_change(school: make.World) -> None:
    """So that the test above can fail."""
    before = history.contents(school.day_01).name
    kits.edit_kit(act(), school.day_01, name="HILL-9")

    assert (before, history.contents(fresh(school.day_01)).name) == ("DAY-01", "HILL-9")
