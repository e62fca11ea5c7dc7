"""A kit handed back to be sorted later: its seal still whole, or what was used said then."""

import pytest

from kits.models import Entry, Seal
from kits.services.custody import custody, use_requests
from kits.services.ledger import audit
from kits.services.restocking import sealing, sorting
from tests.kits import again, factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE

SORT = "/kits/DAY-01/sort/"
USED = "/kits/DAY-01/used/"


@pytest.fixture
@again.kept
def school() -> scanned.Labelled:
    """DAY-01 went out sealed and was dropped at the hatch: sort later."""
    made = scanned.labelled()
    sealing.reseal(make.act(made.world.keeper), made.world.day_01, "0417")
    custody.check_out(make.act(made.world.keeper), made.world.day_01, person=made.world.guide)
    custody.check_in(make.act(made.world.keeper), made.world.day_01)
    return made


def test_the_sort_page_asks_first_what_was_used_and_whom(school: scanned.Labelled) -> None:
    page = text_of(browser(school.world.keeper).get(SORT))

    assert "Nobody has yet entered what was used." in page
    assert f"Ask {school.world.guide.name}" in page
    assert "Print kit tag" not in page  # its turn comes when the kit is sorted


def test_a_seal_that_is_whole_is_one_tap_and_stays_on(school: scanned.Labelled) -> None:
    client = browser(school.world.guide)

    client.post(SORT, form_with(client.get(SORT), 'name="sealed"') | {"sealed": "1"})

    kit = make.fresh(school.world.day_01)
    assert kit.to_sort_since is None
    assert Seal.objects.get(kit=kit, broken=None).number == "0417"
    assert [entry.irregular for entry in Entry.objects.filter(kit=kit) if entry.irregular] == []
    assert list(audit.findings()) == []
    assert "seal checked" in text_of(client.get("/kits/DAY-01/"))


def test_without_a_seal_on_record_it_is_told_to_look_inside(school: scanned.Labelled) -> None:
    Seal.objects.update(broken=Entry.objects.latest("id"))

    page = post(browser(school.world.guide), SORT, sealed="1")

    assert page.status_code == 409
    assert "Check its contents, then seal it" in text_of(page)


def test_what_was_used_is_said_while_sorting_and_leads_back_to_it(school: scanned.Labelled) -> None:
    client, dressing = browser(school.world.guide), school.world.dressing
    assert "What was used from DAY-01?" in text_of(client.get(USED))

    answer = post(client, USED, **{f"used-{dressing.pk}": "2"})

    assert answer["Location"] == SORT
    used = Entry.objects.get(kind="use")
    assert present(used.checkout).person == school.world.guide  # whoever had it out last
    assert make.units(school.world.dressings, make.section(school.world.day_01)) == 4
    assert Entry.objects.filter(kind="check-in").count() == 1
    assert "The items used have been recorded." in text_of(client.get(SORT))
    assert use_requests.use_is_known(school.world.day_01)
    assert list(audit.findings()) == []


def test_a_number_that_is_none_is_told_and_the_form_keeps_what_was_said(
    school: scanned.Labelled,
) -> None:
    page = post(browser(school.world.guide), USED, **{f"used-{school.world.dressing.pk}": "a few"})

    assert page.status_code == 400
    assert "is not a valid quantity" in text_of(page)
    assert 'value="a few"' in page.content.decode()
    assert not Entry.objects.filter(kind="use").exists()


def test_on_its_way_use_is_said_from_the_kits_page(school: scanned.Labelled) -> None:
    world = school.world
    sorting.seal_holds(make.act(world.keeper), world.day_01)
    out = custody.check_out(make.act(world.keeper), world.day_01, person=world.guide).checkout
    client = browser(world.guide)
    assert USED in client.get("/kits/DAY-01/").content.decode()

    answer = post(client, USED, **{f"used-{world.dressing.pk}": "1"})

    assert answer["Location"] == "/kits/DAY-01/"
    assert Entry.objects.get(kind="use").checkout == out
    assert Entry.objects.filter(kind="check-in").count() == 1  # it is still out
