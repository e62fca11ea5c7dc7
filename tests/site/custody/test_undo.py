"""Undoing on pages: one's own last act at once, anything else after it was shown what it does."""

from typing import Any

import pytest

from kits.models import Checkout, Entry
from kits.services.custody import custody
from kits.services.custody.use import UseLine
from kits.services.ledger import audit
from kits.services.restocking import sealing, sorting
from tests.kits.factories import World, act, world
from tests.site.browsing import PAGES_ON_SQLITE, browser, post

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def school() -> World:
    return world()


def came_back(school: World) -> Entry:
    custody.check_out(act(school.keeper), school.day_01, person=school.guide)
    used = [UseLine(school.dressing, 2)]
    return custody.check_in(act(school.keeper), school.day_01, used=used).entry


def text(answer: Any) -> Any:
    return answer.content.decode()


def test_ones_own_last_act_is_undone_at_once_and_what_is_so_is_said(school: World) -> None:
    entry = came_back(school)

    client = browser(school.keeper)

    answer = post(client, f"/undo/{entry.pk}/")

    assert Checkout.objects.get().in_at is None
    assert "Undone. Gil has DAY-01." in text(client.get(answer["Location"]))


def test_what_stands_on_it_is_shown_first_and_then_undone_with_it(school: World) -> None:
    entry = came_back(school)
    sealed = sealing.reseal(act(school.keeper), school.day_01, "0418", anyway=True).put_on
    client = browser(school.keeper)

    page = text(post(client, f"/undo/{entry.pk}/"))

    assert Checkout.objects.get().in_at is not None
    assert "DAY-01 sealed by Kim" in page
    assert "DAY-01 contains 6 × Wound dressing 10 × 12 D1, not 4." in page
    post(client, f"/undo/{entry.pk}/", sure="1", through=str(sealed.pk))
    assert Checkout.objects.get().in_at is None
    assert list(audit.findings()) == []


def test_what_came_between_is_shown_anew(school: World) -> None:
    entry = came_back(school)
    sealed = sealing.reseal(act(school.keeper), school.day_01, "0418", anyway=True).put_on
    sorting.look_inside(act(school.keeper), school.day_01)

    answer = post(browser(school.keeper), f"/undo/{entry.pk}/", sure="1", through=str(sealed.pk))

    assert answer.status_code == 409
    assert "Something has been recorded since you opened this page" in text(answer)
    assert Checkout.objects.get().in_at is not None


def test_anothers_act_is_shown_before_it_is_undone_and_looking_changes_nothing(
    school: World,
) -> None:
    entry = came_back(school)
    client, before = browser(school.instructor), Entry.objects.count()

    page = text(client.get(f"/undo/{entry.pk}/?to=/kits/"))

    assert "Gil has DAY-01." in page
    assert 'value="/kits/"' in page
    post(client, f"/undo/{entry.pk}/")
    assert Entry.objects.count() == before
    post(client, f"/undo/{entry.pk}/", sure="1")
    assert Checkout.objects.get().in_at is None
