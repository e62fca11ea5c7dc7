"""A list like another one except for some lines; and lines pasted from anywhere."""

import pytest

from gearroom.core.acts import Invalid, Refused
from kits.models import PackingListVersion, WhyNotCarried
from kits.rules.ledger.facts import Criticality
from kits.services.lists import changes, drafts, pasting
from kits.services.lists.changes import Changes, Numbers
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.lists.not_carried import NotCarriedDraft
from tests.kits.factories import World, act, item, world

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    return world()


def carried(version: PackingListVersion) -> dict[str, int]:
    """How many of each item a version carries, by name."""
    sections = drafts.draft_of(version).sections
    return {line.item.name: line.carry for section in sections for line in section.lines}


def first_line(w: World) -> tuple[str, LineDraft]:
    section = drafts.draft_of(w.version).sections[0]
    return section.key, section.lines[0]


def test_a_list_like_another_with_other_numbers_without_and_with(w: World) -> None:
    (key, line), before = first_line(w), carried(w.version)
    other = next(name for name in before if name != line.item.name)
    out = next(
        (section.key, each.item.pk)
        for section in drafts.draft_of(w.version).sections
        for each in section.lines
        if each.item.name == other
    )
    said = Changes({(key, line.item.pk): Numbers(9, 2), out: Numbers(0)}, {w.gauge: 2}, "Besides")
    made = changes.make_like(act(w.keeper), w.version, name="DAY-09", changes=said)
    now = carried(made)
    assert now[line.item.name] == 9
    assert other not in now or other == w.gauge.name
    assert now[w.gauge.name] == 2
    assert (made.number, made.published_at) == (1, None)
    assert carried(w.version) == before


def test_the_next_version_keeps_what_is_not_named(w: World) -> None:
    _key, line = first_line(w)
    before = carried(w.version)
    said = Changes({}, {line.item: line.carry + 3}, "Pasted")
    made = changes.make_next(act(w.keeper), w.version.packing_list, said)
    assert carried(made) == before | {line.item.name: line.carry + 3}
    with pytest.raises(Refused, match="already a draft"):
        changes.make_next(act(w.keeper), w.version.packing_list, said)


def test_a_number_below_the_minimum_is_refused_with_its_name(w: World) -> None:
    key, line = first_line(w)
    said = Changes({(key, line.item.pk): Numbers(1, 3)}, {}, "Besides")
    with pytest.raises(Invalid, match=line.item.name.split()[0]):
        changes.make_like(act(w.keeper), w.version, name="DAY-09", changes=said)


def test_what_is_carried_now_is_no_longer_left_out(w: World) -> None:
    left = NotCarriedDraft(WhyNotCarried.TOO_BIG, item=w.gauge)
    main = SectionDraft("Main", [LineDraft(w.dressing, 2)])
    before = Draft(8, 1, sections=[main], not_carried=[left])
    draft = changes.changed(before, Changes({}, {w.gauge: 1}, "main"))
    assert draft.not_carried == []
    assert [section.name for section in draft.sections] == ["Main"]


def test_an_item_in_two_sections_comes_to_what_is_named(w: World) -> None:
    both = [SectionDraft(name, [LineDraft(w.dressing, 2)], name) for name in ("one", "two")]
    draft = changes.changed(Draft(8, 1, sections=both), Changes({}, {w.dressing: 7}, "x"))
    assert [section.lines[0].carry for section in draft.sections] == [5, 2]


def test_pasted_lines_find_their_items_and_lose_none(w: World) -> None:
    found = pasting.candidates("2 x wound dressings 10x12\nHead torch\nShears – 0\nPlaster (5)\n")
    assert [each.best for each in found] == [w.dressing, None, None, w.plasters]
    assert [each.line.units for each in found] == [2, None, 0, 5]


def test_the_only_item_that_is_like_a_line_is_chosen_to_be_checked(w: World) -> None:
    (found,) = pasting.candidates("pressure bandage")
    assert (found.best, found.sure) == (w.gauge, False)


def test_what_another_list_says_is_must_have_or_important_stays_so(w: World) -> None:
    lines = {line.item: line for line in drafts.draft_of(w.version).sections[0].lines}
    must = lines[w.dressing]
    assert must.criticality is Criticality.MUST_HAVE
    routine = next(item for item, line in lines.items() if line.criticality == "routine")
    like = pasting.as_elsewhere([w.dressing, routine])
    assert set(like) == {w.dressing.pk}
    for units in (1, must.carry):
        said = Changes({}, {w.dressing: units, routine: 2}, "x", like)
        (section,) = changes.changed(Draft(8, 1), said).sections
        assert section.lines[0] == LineDraft(
            w.dressing,
            units,
            min(units, must.never_below),
            Criticality.MUST_HAVE,
            f"Same as on {w.version.packing_list.name}, version {w.version.number}.",
        )
        assert section.lines[1] == LineDraft(routine, 2)


def test_what_is_added_to_a_note_is_cut_where_there_is_no_more_room(w: World) -> None:
    said = Changes({}, {w.gauge: 1}, "x", note="Left out when pasted: " + "y" * 600)
    draft = changes.changed(Draft(8, 1, note="Spare kit."), said)
    assert draft.note.startswith("Spare kit. Left out when pasted: yy")
    assert len(draft.note) == 500


@pytest.mark.parametrize("text", ["", " \n\t", "plaster\n" * 201])
def test_no_lines_and_too_many_are_refused(w: World, text: str) -> None:
    with pytest.raises(Invalid):
        pasting.candidates(text)


def test_an_item_is_not_chosen_where_another_has_the_same_words(w: World) -> None:
    item("Wound dressing 20 × 30")
    (found,) = pasting.candidates("wound dressing (2)")
    assert found.best is None
    assert len(found.items) == 2
