"""The page of what to use first, and recording a swap on it."""

import re
import uuid

import pytest
from django.test import Client

from kits.models import Entry, Kit
from kits.services.restocking import sealing, sorting
from tests.kits import factories as make
from tests.kits.rotation.school import school
from tests.site.browsing import browser, post, text_of

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]

ADDRESS, SWAP = "/stock/rotation/", "/kits/SPARE/swap/"


@pytest.fixture
def w() -> make.World:
    return school()


def listed(client: Client) -> list[str]:
    """The values of all boxes of the kit."""
    page = client.get(ADDRESS).content.decode()
    (form,) = (part for part in page.split("<form") if f'action="{SWAP}"' in part)
    rows = re.findall(r'value="([\d.]+)"', form)
    assert rows
    return rows


def test_it_is_one_tap_from_the_expiry_dates(w: make.World) -> None:
    client = browser(w.keeper)
    assert f'href="{ADDRESS}"' in client.get("/stock/expiry/").content.decode()
    text = text_of(client.get(ADDRESS))
    assert "SPARE" in text
    assert "Look at every pack before it goes into a kit." in text


def test_what_was_ticked_is_recorded_once_however_often_it_is_pressed(w: make.World) -> None:
    client, key = browser(w.keeper), uuid.uuid4()
    rows, before = listed(client), Entry.objects.count()

    for _ in range(2):
        assert post(client, SWAP, key, rows=rows).status_code == 302
    assert "The swap in SPARE has been recorded." in text_of(client.get(ADDRESS))

    assert Entry.objects.count() == before + 1


def test_while_the_kit_is_open_it_is_one_tap_and_back_to_the_seal(w: make.World) -> None:
    client = browser(w.keeper)
    assert f'hx-get="{SWAP}"' in client.get("/kits/SPARE/sort/").content.decode()
    page = client.get(SWAP).content.decode()
    rows = re.findall(r'value="([\d.]+)"\s+checked', page)
    assert rows

    answer = post(client, SWAP, rows=rows, then="sort")

    assert answer.headers["Location"].startswith("/kits/SPARE/sort/")
    assert "No swap is worth the work" in text_of(client.get(SWAP))


def test_a_sealed_kit_is_not_offered_a_swap_where_it_is_sealed(w: make.World) -> None:
    sorting.look_inside(make.act(w.keeper), make.fresh(Kit.objects.get(name="SPARE")))
    sealing.reseal(make.act(w.keeper), Kit.objects.get(name="SPARE"), number="S-1", anyway=True)
    assert SWAP not in browser(w.keeper).get("/kits/SPARE/sort/").content.decode()


def test_a_link_of_the_weekly_email_leads_to_its_room(w: make.World) -> None:
    client = browser(w.keeper)
    assert "Use these first Main store" in text_of(client.get(f"{ADDRESS}?room={w.store.slug}"))
    assert client.get(f"{ADDRESS}?room=nowhere").status_code == 404


def test_what_is_gone_meanwhile_is_refused_in_words(w: make.World) -> None:
    client = browser(w.keeper)
    rows = listed(client)
    post(client, SWAP, rows=rows)
    before = Entry.objects.count()

    late = post(client, SWAP, rows=rows)

    assert late.status_code == 409
    assert "count the place first" in text_of(late)
    assert Entry.objects.count() == before


@pytest.mark.parametrize("rows", ["", "1.2", "a.b.c.d.e", "1.1.1.1.99999999999"])
def test_what_is_no_row_is_refused(w: make.World, rows: str) -> None:
    before = Entry.objects.count()
    answer = post(browser(w.keeper), SWAP, **({"rows": rows} if rows else {}))
    assert answer.status_code in (400, 404)
    assert Entry.objects.count() == before
