"""What is said late, of an earlier time: history where other acts came since, and else when it
really was."""

from dataclasses import replace
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest

from gearroom.core import clock
from gearroom.core.acts import Act
from gearroom.core.rules.roles import Role
from kits.models import Checkout, Entry, Kit, Movement
from kits.services.custody import custody, passing_on
from kits.services.ledger import audit
from kits.services.ledger.undo import reversal
from kits.services.stock import counting
from tests.kits import factories as make
from tests.kits.factories import act

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def olu(w: make.World) -> Any:
    return make.person("Olu", Role.GUIDE, w.store)


def out(w: make.World, kit: Kit, who: Any, **more: Any) -> Checkout:
    held = custody.check_out(act(w.keeper), kit, person=who, **more).checkout
    assert held is not None
    return held


def test_a_paper_sheet_typed_in_late_is_history_and_changes_nothing_now(
    w: make.World, olu: Any
) -> None:
    now = clock.now()
    back = custody.check_in(act(w.keeper), w.day_01).entry
    held = out(w, make.fresh(w.day_01), w.guide, already_gone=True)
    sheet = {"occurred_at": (now - timedelta(hours=3)).isoformat(), "already_gone": True}

    taken = make.caller(w.keeper).post("kits/DAY-01/check-out/", {"person": str(olu.pk), **sheet})
    sheet.pop("already_gone")
    came = make.caller(w.keeper).post("kits/DAY-01/check-in/", sheet)

    assert (taken.status_code, came.status_code) == (201, 200)
    assert taken.json()["checkout"] is None
    for answer in (taken, came):
        assert "out-of-order" in answer.json()["entry"]["irregular"]
    assert list(Checkout.objects.filter(in_at=None)) == [held]
    entry = Entry.objects.get(pk=taken.json()["entry"]["id"])
    assert entry.claimed_at == now - timedelta(hours=3)
    assert entry.occurred_at >= back.occurred_at
    assert list(audit.findings()) == []


def test_what_it_really_was_is_when_it_was_where_nothing_came_since(w: make.World) -> None:
    when = clock.now()
    answer = make.caller(w.keeper).post(
        "kits/DAY-01/check-out/",
        {"person": str(w.guide.pk), "occurred_at": when.isoformat(), "already_gone": True},
    )
    entry = Entry.objects.get(pk=answer.json()["entry"]["id"])
    assert entry.claimed_at == entry.occurred_at == when
    assert Checkout.objects.get().out_at == when


def test_use_claimed_before_a_later_count_takes_nothing_out_of_the_kit(w: make.World) -> None:
    place = make.section(w.day_01)
    now = clock.now()
    counting.count(act(w.keeper), [place], [counting.CountLine(place, 4, item=w.dressing)])
    before = make.units(w.dressings, place)
    body = {
        "used": [{"item": w.dressing.pk, "units": 2}],
        "occurred_at": (now - timedelta(hours=2)).isoformat(),
    }

    answer = make.caller(w.guide).post("kits/DAY-01/use/", body)

    assert answer.json()["entry"]["irregular"] == ["counted-since"]
    assert make.units(w.dressings, place) == before == 4
    legs = Movement.objects.filter(entry=answer.json()["entry"]["id"])
    assert [(leg.from_place.kind, leg.to_place.kind, leg.units) for leg in legs] == [
        ("unexplained", "used", 2)
    ]
    late = make.caller(w.guide).post("kits/DAY-01/use/", {"used": body["used"]})
    assert late.json()["entry"]["irregular"] == []
    assert make.units(w.dressings, place) == 2
    assert list(audit.findings()) == []


def test_history_typed_in_by_mistake_is_taken_back_and_changes_nothing(
    w: make.World, olu: Any
) -> None:
    now = clock.now()
    held = out(w, w.day_01, w.guide)
    late = Act(make.actor(w.keeper), claimed_at=now - timedelta(hours=1))
    for done in (
        custody.check_out(late, w.day_01, person=olu, already_gone=True).entry,
        custody.check_in(replace(late, key=uuid4()), w.day_01, wet=False).entry,
        passing_on.pass_on(replace(late, key=uuid4()), w.day_01, olu).entry,
    ):
        assert "out-of-order" in done.irregular
        reversal.reverse(act(w.keeper), done.pk)
        assert list(Checkout.objects.filter(in_at=None)) == [held]
        assert Checkout.objects.get(pk=held.pk).person == w.guide
    assert make.fresh(w.day_01).to_sort_since is None
    assert list(audit.findings()) == []
