"""Kits whose contents were mixed up wait until each of them is counted."""

from typing import Any

import pytest

from gearroom.core.acts import Invalid, Refused
from kits.models import (
    AsFound,
    Entry,
    Kit,
    WithheldKind,
)
from kits.services.custody.returns import Remarks
from kits.services.kits import holds
from kits.services.stock import counting
from kits.services.stock.counting import CountLine
from tests.kits import factories as make
from tests.kits.custody.evenings import back, clean, out, undo, word
from tests.kits.factories import act, section, units, world

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return world()


def count(w: make.World, kit: Kit, found: list[Any] | tuple[()] = ()) -> Entry:
    places = list(kit.sections.all())
    return counting.count(act(w.keeper), places, found, complete=True).entry


def test_kits_that_were_mixed_up_stop_until_each_is_counted(w: make.World) -> None:
    out(w)
    other = w.day_02

    done = back(w, as_found=AsFound.CLOSED, remarks=Remarks(mixed_with=[other]))

    assert done.as_found == AsFound.OPENED
    for kit in (w.day_01, other):
        assert "contents mixed" in word(kit)
    assert {e.key for e in Entry.objects.filter(kind="withhold")} == {done.entry.key}
    count(w, w.day_01)
    assert "contents mixed" not in word(w.day_01)
    assert "contents mixed" in word(other)
    count(w, other)
    assert "contents mixed" not in word(other)
    assert clean()


def test_a_count_of_one_pouch_is_not_enough_and_neither_is_a_word(w: make.World) -> None:
    holds.report_mixed(act(w.guide), w.day_01, [w.day_02])

    with pytest.raises(Refused) as problem:
        holds.release(act(w.keeper), w.day_01, WithheldKind.MIXED)
    assert problem.value.code == "count-first"

    counting.count(act(w.keeper), [section(w.day_01, "pouch")], [], complete=True)

    assert "contents mixed" in word(w.day_01)


def test_undoing_the_count_keeps_the_kit_back_again_and_undoing_the_report_keeps_the_count(
    w: make.World,
) -> None:
    report = holds.report_mixed(act(w.guide), w.day_01, [w.day_02])
    entry = count(w, w.day_01, [CountLine(section(w.day_01), 3, w.dressings)])

    undo(w, entry)
    assert "contents mixed" in word(w.day_01)
    assert clean()
    entry = count(w, w.day_01, [CountLine(section(w.day_01), 3, w.dressings)])
    undone = undo(w, report)

    assert undone.later == []
    assert "contents mixed" not in word(w.day_02)
    assert units(w.dressings, section(w.day_01)) == 3
    assert clean()


def test_a_kit_is_not_mixed_up_with_itself_or_with_nothing(w: make.World) -> None:
    for kits in ([], [w.day_01]):
        with pytest.raises(Invalid, match="Enter the kit whose contents were mixed"):
            holds.report_mixed(act(w.guide), w.day_01, kits)
