"""A list on past trips: what was not on it, what ran out, and what is left out of the count."""

from typing import Any

import pytest

from kits.models import PackingListVersion
from kits.services.custody.returns import NeedLine, Remarks
from kits.services.custody.use import UseLine
from kits.services.lists import drafts
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.planning import replays
from tests.kits import factories as make
from tests.kits.factories import Caller, World, act, world
from tests.kits.planning.school import past, serve

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    made = world()
    serve(made)
    return made


def version(w: World) -> PackingListVersion:
    return w.day_01.list_version


def carry(w: World, units: int) -> None:
    version(w).sections.get(key="main").lines.filter(item=w.dressing).update(
        carry=units, never_below=1
    )


def test_what_is_not_on_the_list_and_what_ran_out_are_counted_apart(w: World) -> None:
    splint = make.item("Splint")
    first = past(w, UseLine(w.dressing, 3), remarks=Remarks(needed=[NeedLine(splint)]))
    second = past(w, remarks=Remarks(needed=[NeedLine(splint)]))
    carry(w, 1)
    done = replays.of_version(version(w))
    assert [
        (each.trip.trip, each.kit, each.item, each.short.on_list) for each in done.shortages
    ] == [
        (first, w.day_01, w.dressing, True),
        (first, w.day_01, splint, False),
        (second, w.day_01, splint, False),
    ]
    assert (done.done.not_on_list_trips, done.done.ran_out_trips) == (2, 1)


def test_a_list_that_no_kit_follows_is_taken_on_every_known_trip(w: World) -> None:
    trip = past(w, UseLine(w.dressing, 3))
    draft = Draft(8, 1, sections=[SectionDraft("Main", [LineDraft(w.dressing, 1)])])
    done = replays.of_version(drafts.make_list(act(w.keeper), name="NEW-01", draft=draft))
    assert done.nobody_follows
    assert [(each.trip.trip, each.short.lacking) for each in done.shortages] == [(trip, 2)]
    assert not replays.of_version(version(w)).nobody_follows


def test_own_words_and_what_nobody_counted_are_named_and_not_counted(w: World) -> None:
    past(w, remarks=Remarks(needed=[NeedLine(words="sun cream")]))
    past(w, counted=False, remarks=Remarks(needed=[NeedLine(w.gauge)]))
    done = replays.of_version(version(w))
    assert [words for _trip, words in done.own_words] == ["sun cream"]
    assert (done.done.counted, done.done.shortages, done.wants_not_counted) == (1, [], 1)


def test_the_answer_has_the_two_apart_and_keeps_others_words(w: World) -> None:
    splint = make.item("Splint")
    past(w, remarks=Remarks(needed=[NeedLine(splint), NeedLine(words="sun cream")]))
    asked = {"list": version(w).packing_list_id, "version": version(w).number}
    own = shown(make.caller(w.guide), asked)
    assert (own["not_on_list_trips"], own["ran_out_trips"], own["perhaps_trips"]) == (1, 0, 0)
    assert (own["own_words_count"], own["own_words"]) == (1, ["sun cream"])
    [short] = own["shortages"]
    assert (short["kit"], short["trip"], short["on_list"]) == ("DAY-01", "Hill day", False)
    other = shown(make.caller(w.stranger), asked)
    assert (other["own_words_count"], other["own_words"]) == (1, [])
    assert (other["shortages"][0]["kit"], other["shortages"][0]["trip"]) == (None, None)


def shown(caller: Caller, asked: dict[str, int]) -> dict[str, Any]:
    answer = caller.post("plans/replay/", asked)
    assert answer.status_code == 200, answer.content
    found: dict[str, Any] = answer.json()
    return found
