"""Sealing and checking by page: what is asked, and what is one tap."""

import re
from typing import Any

import pytest
from django.test import Client

from kits.models import AsFound, Checkout, Seal
from kits.services.custody import custody
from kits.services.custody.use import UseLine
from kits.services.ledger import audit
from kits.services.restocking import sealing
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE

SORT, SEAL = "/kits/DAY-01/sort/", "/kits/DAY-01/seal/"


@pytest.fixture
def school() -> scanned.Labelled:
    return scanned.labelled()


def handed_back(school: scanned.Labelled, **more: Any) -> None:
    world = school.world
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide)
    custody.check_in(make.act(world.guide), world.day_01, **more)


def press(client: Client, page: Any, label: str) -> Any:
    """Press a button of the scan page."""
    return post(client, "/scan/", **form_with(page, label))


def test_a_seal_on_a_kit_with_things_used_asks_first_and_goes_on_by_one_tap(
    school: scanned.Labelled,
) -> None:
    handed_back(school, used=[UseLine(school.world.dressing, 4)])
    client = browser(school.world.guide)

    asked = post(client, SEAL, seal="0417")

    assert asked.status_code == 409
    assert "4 not replaced: seal anyway?" in text_of(asked)
    assert 'id="seal"' not in asked.content.decode()  # no heading with nothing below it
    assert "4 × Wound dressing 10 × 12 not replaced" in text_of(asked)
    assert not Seal.objects.exists()
    fields = form_with(asked, "Seal the kit anyway with seal 0417")
    after = client.get(client.post(SEAL, fields)["Location"])
    assert Seal.objects.get(broken=None).number == "0417"
    assert "It still needs sorting" in text_of(after)
    assert 'data-verdict="do-not-take"' in after.content.decode()
    assert list(audit.findings()) == []


def test_a_kit_to_be_sorted_is_checked_on_its_page_by_one_tap(school: scanned.Labelled) -> None:
    handed_back(school)
    client = browser(school.world.guide)

    page = client.get(SORT)
    assert "Checked just now: everything is there" in text_of(page)
    post(client, SORT, **{"only-look": "1"})

    assert make.fresh(school.world.day_01).to_sort_since is None
    assert 'data-verdict="ready"' in client.get(SORT).content.decode()


def test_at_the_hatch_scan_tap_tap_and_it_is_out(school: scanned.Labelled) -> None:
    handed_back(school)
    client = browser(school.world.keeper)
    tag = post(client, "/scan/", text=school.tag.code)
    waiting = dict(re.findall(r'form="scan" name="(\w+)" value="([^"]*)"', tag.content.decode()))

    page = post(client, "/scan/", **{**waiting, "text": "DAY-01"})
    page = press(client, page, "Checked just now: everything is there")
    press(client, page, "Take out for Gil")

    assert Checkout.objects.get(in_at=None).person == school.world.guide


def test_a_kit_without_a_seal_comes_back_closed_by_one_tap(school: scanned.Labelled) -> None:
    custody.check_out(make.act(school.world.keeper), school.world.day_01, person=school.world.guide)
    client = browser(school.world.keeper)

    page = post(client, "/scan/", text="DAY-01")
    assert "Sealed and dry" not in text_of(page)
    answer = press(client, page, "Closed, nothing used")

    assert "DAY-01 is back: closed, nothing used." in text_of(answer)
    assert Checkout.objects.get().as_found == AsFound.CLOSED
    assert make.fresh(school.world.day_01).to_sort_since is None
    assert "closed, nothing used" in text_of(client.get("/kits/DAY-01/history/"))


def test_with_a_seal_on_record_it_comes_back_sealed(school: scanned.Labelled) -> None:
    sealing.reseal(make.act(), school.world.day_01, "0417")
    custody.check_out(make.act(school.world.keeper), school.world.day_01, person=school.world.guide)

    words = text_of(post(browser(school.world.keeper), "/scan/", text="DAY-01"))

    assert "Sealed and dry" in words
    assert "Closed, nothing used" not in words


def test_the_kits_page_leads_to_sealing_while_no_seal_is_on_it(school: scanned.Labelled) -> None:
    link = f'href="{SORT}#seal"'
    client = browser(school.world.guide)
    unsealed = client.get("/kits/DAY-01/").content.decode()
    sealing.reseal(make.act(school.world.keeper), make.fresh(school.world.day_01), "0417")
    sealed = client.get("/kits/DAY-01/").content.decode()
    custody.check_out(make.act(school.world.keeper), school.world.day_02, emergency=True)

    assert link in unsealed
    assert 'id="seal"' in client.get(SORT).content.decode()
    assert link not in sealed
    assert "#seal" not in client.get("/kits/DAY-02/").content.decode()
