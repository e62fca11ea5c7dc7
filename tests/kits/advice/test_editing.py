"""What a sender changes in a draft of advice, and what cannot get in or out of it by that."""

from dataclasses import replace

import pytest

from gearroom.core.acts import (
    Invalid,
    Stale,
    Unacceptable,
)
from kits.models import Item
from kits.rules.ledger.facts import Kind
from kits.services.advice.drafts import Line, Omitted
from tests.kits.advice.school import (
    CREW,
    advising,
    answered,
    asks,
    draft_of,
    edit,
    send,
)
from tests.kits.factories import World

pytestmark = pytest.mark.django_db
WORDS = {"en-gb": "Good for it.", "de": "Gut dafür."}


@pytest.fixture
def w() -> World:
    return advising()


def test_a_sender_changes_lines_reasons_and_what_is_not_carried(w: World) -> None:
    made, _link = answered(w)
    shears = Item.objects.get(name="Shears")
    after = edit(
        w,
        made,
        lines=[*draft_of(made).lines, Line(shears.pk, 3, WORDS)],
        not_carried=[
            line if line.need != "blister" else replace(line, reason=WORDS)
            for line in draft_of(made).not_carried
        ],
    )
    draft = draft_of(after)
    assert draft.lines[-1] == Line(shears.pk, 3, WORDS)
    assert Omitted(WORDS, need="blister") in draft.not_carried


def test_a_reason_is_changed_in_every_language_or_cleared(w: World) -> None:
    made, _link = answered(w)
    first = draft_of(made).not_carried
    english = [replace(line, reason={**line.reason, "en-gb": "New."}) for line in first]
    with pytest.raises(Invalid, match="one language only"):
        edit(w, made, not_carried=english)
    empty = [replace(line, reason={"en-gb": "", "de": ""}) for line in first]
    half = [replace(line, reason={**line.reason, "de": ""}) for line in first]
    with pytest.raises(Invalid, match="one language only"):
        edit(w, made, not_carried=half)
    after = edit(w, made, not_carried=empty)
    assert draft_of(after).not_carried == first
    shears = Omitted({"en-gb": "", "de": ""}, item=Item.objects.get(name="Shears").pk)
    with pytest.raises(Invalid, match="enter the reason in every language"):
        edit(w, after, not_carried=[*first, shears])


@pytest.mark.parametrize(
    ("reason", "code"),
    [
        ({"en-gb": "400 mg", "de": "x"}, "names-a-dose"),
        ({"en-gb": "x", "de": "zwei Tabletten"}, "names-a-dose"),
        ({"en-gb": "Better than pain tablets", "de": "x"}, "names-a-medicine"),
    ],
)
def test_no_dose_and_no_medicine_gets_in_by_a_text(
    w: World, reason: dict[str, str], code: str
) -> None:
    made, _link = answered(w)
    shears = Item.objects.get(name="Shears")
    for changes in (
        {"lines": [*draft_of(made).lines, Line(shears.pk, 1, reason)]},
        {"not_carried": [*draft_of(made).not_carried, Omitted(reason, item=shears.pk)]},
    ):
        with pytest.raises(Unacceptable) as refused:
            edit(w, made, **changes)
        assert refused.value.code == code


def test_no_medicine_gets_in_by_editing(w: World) -> None:
    made, _link = answered(w)
    for changes in (
        {"lines": [Line(w.tablets.pk, 1, WORDS)]},
        {"not_carried": [Omitted(WORDS, item=w.tablets.pk)]},
    ):
        with pytest.raises(Unacceptable, match="is a medicine"):
            edit(w, made, **changes)


def test_what_became_a_medicine_since_is_refused_when_it_is_sent(w: World) -> None:
    asks("sharp-tools", "small-wound", 1)
    made, _link = answered(w)
    assert w.dressing.pk in [line.item for line in draft_of(made).lines]
    Item.objects.filter(pk=w.dressing.pk).update(kind=Kind.MEDICINE.value)
    with pytest.raises(Unacceptable, match="is a medicine"):
        send(w, made)


def test_an_item_that_nobody_is_trained_for_is_refused(w: World) -> None:
    made, _link = answered(w)
    tourniquet = Item.objects.get(name="Tourniquet")
    with pytest.raises(Unacceptable) as refused:
        edit(w, made, lines=[Line(tourniquet.pk, 2, WORDS)])
    assert refused.value.code == "needs-training"


def test_what_the_trip_must_have_cannot_be_edited_away(w: World) -> None:
    made, _link = answered(w, replace(CREW, trained=["severe-bleeding"]))
    with pytest.raises(Unacceptable, match="severe bleeding"):
        edit(w, made, lines=[])
    untrained, _link = answered(w)
    with pytest.raises(Unacceptable, match="severe bleeding"):
        edit(w, untrained, not_carried=[])


@pytest.mark.parametrize(
    "lines",
    [
        [Line(99_999, 1, WORDS)],
        [Line(0, 1, WORDS)],
    ],
)
def test_lines_that_are_not_whole_are_refused(w: World, lines: list[Line]) -> None:
    made, _link = answered(w)
    with pytest.raises(Invalid):
        edit(w, made, lines=lines)
    shears = Item.objects.get(name="Shears").pk
    for wrong in (
        [Line(shears, 0, WORDS)],
        [Line(shears, 9_999, WORDS)],
        [Line(shears, 1, {"en-gb": "only English"})],
        [Line(shears, 1, WORDS), Line(shears, 1, WORDS)],
    ):
        with pytest.raises(Invalid):
            edit(w, made, lines=wrong)


def test_of_two_who_edit_at_once_the_second_is_told(w: World) -> None:
    made, _link = answered(w)
    edit(w, made)
    with pytest.raises(Stale, match="changed this draft"):
        edit(w, made)
    with pytest.raises(Stale):
        send(w, made, revision=made.revision)
