"""An undo comes to the same as never having done it: the acts are done again without it.

Any acts on two kits, in any order; one is undone with what stands on it. Then everything is taken
back and done anew by the services without those acts: contents, seals, who has the kits, where they
are, whether they wait to be sorted and what they are kept back for must be the same.
"""

from collections import Counter
from collections.abc import Callable
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, given, note, settings, strategies as st

from gearroom.core import clock
from gearroom.core.acts import Act, Problem, Refused
from gearroom.core.models import Person
from kits.models import (
    AsFound,
    Checkout,
    Entry,
    Holding,
    Kit,
    LevelFact,
    Place,
    PlaceKind,
    Seal,
    WithheldKind,
)
from kits.rules.ledger.facts import Criticality, Level
from kits.services.custody import custody, passing_on, use
from kits.services.custody.use import UseLine
from kits.services.kits import history, holds
from kits.services.ledger import audit, facts
from kits.services.ledger.levels import LooseLevel
from kits.services.ledger.undo import reversal
from kits.services.restocking import sealing, sorting
from kits.services.stock import counting
from kits.services.stock.counting import CountLine
from tests.kits import factories
from tests.kits.factories import World, fresh, world

pytestmark = pytest.mark.django_db

KINDS = (
    "take", "gone", "emergency", "sealed", "later", "opened", "pass", "use", "count", "count all",
    "put in", "seal", "look", "keep", "let go", "away", "wake", "lost", "found", "level",
)  # fmt: skip
one_act = st.tuples(st.sampled_from(KINDS), st.integers(0, 1), st.integers(0, 5))


class School:
    """Acts by name on two kits whose list asks for nothing that must be there."""

    def __init__(self) -> None:
        self.world: World = world()
        w = self.world
        version = factories.kit_list(
            "Anything",
            {
                "main": [
                    (w.dressing, 6, 0, Criticality.ROUTINE),
                    (w.plasters, 1, 0, Criticality.ROUTINE),
                ]
            },
            signed_by=w.adviser,
        )
        self.kits = [factories.kit(name, version, w.store) for name in ("ONE", "TWO")]
        for kit in self.kits:
            factories.put_in(kit, w.dressings, w.shelf, 4)
            sorting.look_inside(factories.act(w.keeper), fresh(kit))
        self.people: list[Person] = [w.guide, w.instructor]
        self.used: dict[UUID, int] = {}

    def do(self, key: UUID, kind: str, which: int, n: int) -> None:
        """One act; raises Problem where it is refused."""
        w, kit = self.world, fresh(self.kits[which])
        act: Act = factories.act(w.keeper, key=key)
        who = self.people[n % 2]
        place = factories.section(kit)
        wrong = (WithheldKind.DRYING, WithheldKind.SOMETHING_WRONG)[n % 2]
        acts: dict[str, Callable[[], Any]] = {
            "take": lambda: custody.check_out(act, kit, person=who, short_reason="none else"),
            "gone": lambda: custody.check_out(act, kit, person=who, already_gone=True),
            "emergency": lambda: custody.check_out(act, kit, person=who, emergency=True),
            "sealed": lambda: custody.check_in(act, kit, as_found=AsFound.SEALED),
            "later": lambda: custody.check_in(act, kit, as_found=AsFound.SORT_LATER, wet=n == 5),
            "opened": lambda: custody.check_in(
                act, kit, as_found=AsFound.OPENED, used=self._used(key, kit, n)
            ),
            "pass": lambda: passing_on.pass_on(act, kit, who),
            "use": lambda: use.log_use(
                act, kit, self._used(key, kit, 1 + n % 3) or self._nothing()
            ),
            "count": lambda: counting.count(
                act, [place], [CountLine(place, n, lot=w.dressings)], complete=False
            ),
            "count all": lambda: counting.count(
                act, [place], [CountLine(place, n, lot=w.dressings)]
            ),
            "put in": lambda: sorting.restock(
                act,
                kit,
                extra=[sorting.PutIn(w.dressings, w.shelf, place, 1 + n % 2)],
                as_listed=False,
                levels=(),
            ),
            "seal": lambda: sealing.reseal(act, kit, f"{which}{n}"),
            "look": lambda: sorting.look_inside(act, kit),
            "keep": lambda: holds.withhold(act, kit, wrong),
            "let go": lambda: holds.release(act, kit, wrong),
            "away": lambda: holds.lay_up(act, kit),
            "wake": lambda: holds.wake(act, kit),
            "lost": lambda: holds.mark_lost(act, kit),
            "found": lambda: holds.find_again(act, kit),
            "level": lambda: use.log_use(
                act, kit, [], levels=[LooseLevel(place, w.plasters, list(Level)[n % 3])]
            ),
        }
        with transaction.atomic():
            acts[kind]()

    def _used(self, key: UUID, kit: Kit, n: int) -> list[UseLine]:
        """No more than is there: what is used without being in the book comes from nowhere. Done
        again, an act uses as many as it did."""
        w = self.world
        there = factories.units(w.dressings, factories.section(kit))
        units = self.used.setdefault(key, n if n <= there else 0)
        if units > there:
            self._nothing()
        return [UseLine(w.dressing, units, w.dressings)] if units else []

    def _nothing(self) -> list[UseLine]:
        raise Refused("nothing-there", "Nothing is there to be used.")

    def stands(self) -> list[dict[str, Any]]:
        """How the kits stand, without ids that differ each time."""
        return [_stands(fresh(kit)) for kit in self.kits]


def _stands(kit: Kit) -> dict[str, Any]:
    held = Checkout.objects.filter(kit=kit, in_at=None)
    levels = {
        fact.item_id: fact.level
        for fact in LevelFact.objects.filter(facts.then(), section__kit=kit).order_by("id")
    }
    now = history.contents(kit)
    return {
        "units": sorted(
            Holding.objects.filter(place__kit=kit, units__gt=0).values_list("lot", "units")
        ),
        "shelf": sorted(
            Holding.objects.filter(
                place__in=Place.objects.filter(kind=PlaceKind.SHELF), units__gt=0
            ).values_list("lot", "place", "units")
        ),
        "levels": levels,
        "seals": sorted(Seal.objects.filter(kit=kit, broken=None).values_list("number", flat=True)),
        "holders": sorted(held.values_list("person", flat=True)),
        "known now": (now.seal, now.holder),
        "room": kit.room_id,
        "sorting": kit.to_sort_since is not None,
        "looked": kit.looked_inside_by_id,
        "lost": kit.lost_since is not None,
        "away": kit.laid_up_since is not None,
        "kept": sorted(kit.withholdings.filter(released=None).values_list("kind", flat=True)),
        "good": (kit.ready_until, kit.fit_until, kit.may_go_until, kit.clear_until),
    }


class _Undone(Exception):
    """Takes a replay back."""


def _replay(school: School, acts: list[tuple[UUID, Any]]) -> list[dict[str, Any]] | None:
    """How the kits stand after these acts alone; None where one is refused for what kits are."""
    found = None
    try:
        with transaction.atomic():
            for key, args in acts:
                school.do(key, *args)
            found = school.stands()
            raise _Undone
    except Problem:
        return None
    except _Undone:
        return found


def _undo_one(school: School, sequence: list[Any], index: int, tally: Counter[str]) -> None:
    done: list[tuple[UUID, Any]] = []
    known = []
    for args in sequence:
        key = uuid4()
        try:
            school.do(key, *args)
        except Problem:
            continue
        done.append((key, args))
        instant = clock.now()
        known.append(
            (instant, [history.contents(kit, on=instant, known_by=instant) for kit in school.kits])
        )
    if not done:
        return
    key, args = done[index % len(done)]
    note(f"{[each for _, each in done]}, without number {index % len(done)}")
    before = school.stands()
    act = factories.act(school.world.keeper)
    entry = Entry.objects.filter(key=key).earliest("id")
    gone = {key}
    try:
        reversal.reverse(act, entry.pk)
    except Refused as refused:
        assert refused.code == "built-on", refused.detail
        assert school.stands() == before
        later = refused.facts["later"]
        if not refused.facts["together"]:
            tally["another has it"] += 1
            kinds = Entry.objects.filter(pk__in=[row["entry"] for row in later])
            assert kinds.filter(kind__in=("check-out", "emergency")).exists()
            return
        gone |= set(
            Entry.objects.filter(pk__in=[row["entry"] for row in later]).values_list(
                "key", flat=True
            )
        )
        done_now = reversal.reverse(
            factories.act(school.world.keeper), entry.pk, together=True, through=later[-1]["entry"]
        )
        assert [row.pk for row in done_now.later] == [row["entry"] for row in later]
        tally["together"] += 1
    after = school.stands()
    assert list(audit.findings()) == []
    for instant, answers in known:
        assert [
            history.contents(kit, on=instant, known_by=instant) for kit in school.kits
        ] == answers
    transaction.savepoint_rollback(school.start)  # type: ignore[attr-defined]
    again = _replay(school, [(k, a) for k, a in done if k not in gone])
    if again is None:
        tally["not to be compared"] += 1
        return
    tally[args[0]] += 1
    assert after == again


def _run(examples: int, most: int) -> Counter[str]:
    school = School()
    tally: Counter[str] = Counter()

    @settings(
        max_examples=examples,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        database=None,
        phases=[Phase.generate],
    )
    @given(sequence=st.lists(one_act, min_size=2, max_size=most), index=st.integers(0, 20))
    def anything(sequence: list[Any], index: int) -> None:
        school.start = transaction.savepoint()  # type: ignore[attr-defined]
        try:
            _undo_one(school, sequence, index, tally)
        finally:
            transaction.savepoint_rollback(school.start)  # type: ignore[attr-defined]

    anything()
    return tally


def test_an_undo_comes_to_the_same_as_never_having_done_it() -> None:
    tally = _run(examples=12, most=9)

    assert sum(tally[kind] for kind in KINDS) >= 4, tally


@pytest.mark.long
def test_many_undos_come_to_the_same_as_never_having_done_it() -> None:
    tally = _run(examples=1500, most=14)

    assert all(tally[kind] for kind in KINDS), tally
    assert tally["together"] > 50, tally
