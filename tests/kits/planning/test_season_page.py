"""A season on one page: its numbers are those of the other pages."""

from datetime import timedelta
from decimal import Decimal

import pytest

from gearroom.core import clock
from gearroom.core.acts import Actor, actor_of
from gearroom.core.models import Person
from kits.models import PackingListVersion
from kits.rules.planning.seasons import season_of
from kits.services.custody.returns import NeedLine, Remarks
from kits.services.custody.use import UseLine
from kits.services.kits import then_judged
from kits.services.ledger import verdicts
from kits.services.lists import drafts, publishing
from kits.services.planning import season_text
from kits.services.planning.past_use import past_use
from kits.services.planning.season_page import SeasonPage, key, season_page
from kits.services.stock import receiving
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh, world
from tests.kits.planning.school import past, serve
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    made = world()
    serve(made)
    return made


def who(person: Person) -> Actor:
    return actor_of(present(person.user))


def said(of: SeasonPage) -> str:
    return "\n".join(line for part in season_text.parts(of) for line in part.lines)


def test_without_any_record_it_says_so(w: World) -> None:
    text = said(season_page(who(w.stranger)))
    assert "No kit’s contents were on record" in text
    assert "No kit from your gear rooms has come back" in text
    assert "No delivery on record." in text


def test_it_agrees_with_what_was_used(w: World) -> None:
    past(w, UseLine(w.dressing, 2), remarks=Remarks(needed=[NeedLine(w.gauge)]))
    with clock.pretending(clock.now() + timedelta(days=2 * 92)):
        past(w)
    with clock.pretending(clock.now() + timedelta(days=3 * 92)):
        whole = past_use(who(w.keeper))
        first = season_page(who(w.keeper), key(whole.seasons[0].season))
        last = season_page(who(w.keeper), key(whole.seasons[-1].season))
    assert first.use.seasons[0] == whole.seasons[0]
    assert first.use.trips + last.use.trips == whole.trips
    assert [each.times for each in first.use.not_there] == [1]
    assert last.use.not_there == []


def test_a_day_is_judged_as_it_was_then(w: World) -> None:
    kit = fresh(w.day_01)
    today = make.today()
    (now,) = then_judged.judged_on([kit], [today])
    assert now.verdicts[kit.pk].word == verdicts.verdict(kit, today).word
    assert now.fit == 1
    (before,) = then_judged.judged_on([kit], [make.days(-30)])
    assert not before.verdicts  # nobody had entered what was in it
    past(w, UseLine(w.dressing, 6))
    (after,) = then_judged.judged_on([fresh(w.day_01)], [today])
    assert after.verdicts[kit.pk].word == verdicts.verdict(fresh(w.day_01), today).word


def test_what_came_at_a_price_and_without_one_is_told_apart(w: World) -> None:
    for number, price in (("N1", Decimal(15)), ("N2", None)):
        receiving.receive(
            act(w.keeper), item=w.dressing, units=10, number=number, expiry=make.days(300),
            shelf=w.shelf, price=price, currency="GBP" if price else "",
        )  # fmt: skip
    bought = season_page(who(w.keeper), key(season_of(make.today()))).bought
    assert bought.money == {"GBP": Decimal(15)}
    assert bought.unpriced >= 1
    assert not season_page(who(w.stranger)).bought.money


def test_a_draft_says_what_changes_and_why(w: World) -> None:
    version = PackingListVersion.objects.get(pk=w.version.pk)
    draft = drafts.new_draft(act(w.keeper), version.packing_list)
    line = draft.sections.get(key="main").lines.get(item=w.dressing)
    line.carry, line.reason = 9, "ran out twice"
    line.save()
    text = said(season_page(who(w.keeper)))
    assert "Day walk, version 2 (draft)" in text
    assert "Wound dressing 10 × 12: 6 before, now 9 (ran out twice)" in text
    assert "Day walk" not in said(season_page(who(w.stranger)))


def test_what_was_changed_and_changed_back_is_no_change(w: World) -> None:
    """Two versions came in one season; all that counts is how the last differs from the first."""
    before = PackingListVersion.objects.get(pk=w.version.pk)
    for carry in (9, 6):
        draft = drafts.new_draft(act(w.keeper), before.packing_list)
        line = draft.sections.get(key="main").lines.get(item=w.dressing)
        line.carry = carry
        line.save()
        publishing.publish(act(w.keeper), draft)
    text = said(season_page(who(w.keeper)))
    assert "Day walk, version 3 (published on" in text
    assert "now" not in text


def test_a_season_that_there_was_not_is_the_latest(w: World) -> None:
    page = season_page(who(w.keeper), "1999-9")
    assert page.season == season_of(make.today())
    assert "not over yet" in season_text.as_of(page)
