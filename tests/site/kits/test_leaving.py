"""Selling a kit or giving it away on the page, with its papers; and units of a batch."""

import uuid

import pytest

from kits.models import Entry, EntryKind
from kits.services.custody import custody
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.site.browsing import browser, post, text_of

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
KIT, PAPERS = "/kits/DAY-01/leave/", "/kits/DAY-01/papers/"
TO = {"way": "given", "to": "The youth centre", "reason": "one too many"}


@pytest.fixture
def w() -> make.World:
    return make.world()


def left() -> int:
    return Entry.objects.filter(kind=EntryKind.LEAVE, reversed_by=None).count()


def test_pressed_twice_it_leaves_once_and_leads_to_its_papers(w: make.World) -> None:
    client, key = browser(w.keeper), uuid.uuid4()
    for _ in range(2):
        answer = post(client, KIT, key, **TO)
        assert answer.headers["Location"] == PAPERS
    assert left() == 1
    text = text_of(client.get(PAPERS))
    assert "DAY-01 has left with 15 units. Print its papers for The youth centre." in text
    assert "Wound dressing 10 × 12" in text
    assert "D1" in text
    assert "Undo" in text
    assert "The kit has been out of use since" in text_of(client.get(KIT))


def test_the_papers_name_batches_days_and_acts_and_nobody(w: make.World) -> None:
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide)
    custody.check_in(make.act(w.keeper, reason="Gail was late"), w.day_01)
    text = text_of(browser(w.keeper).get(PAPERS))
    main = text[text.index("Papers of DAY-01") :]
    assert "taken out, handed back" in main
    for name in (w.guide.name, w.instructor.name, "Gail"):
        assert name not in main
    assert "The kit has not left yet" in main


def test_its_trips_are_named_and_half_of_it_forgotten_is_said(w: make.World) -> None:
    trip = make.trip("Hill day", w.store, 3, 3)
    reservations.reserve(make.act(w.keeper), w.day_01, trip)
    client = browser(w.keeper)
    assert "Hill day" in text_of(client.get(KIT))

    answer = post(client, KIT, **TO)
    assert answer.status_code == 409
    assert "confirm that they go without it" in text_of(answer)
    assert 'value="The youth centre"' in answer.content.decode()
    answer = post(client, KIT, **{**TO, "to": ""}, without=trip.pk)
    assert "checked" in answer.content.decode()
    assert post(client, KIT, **{**TO, "to": ""}, without=trip.pk).status_code == 400
    assert left() == 0

    assert post(client, KIT, **TO, without=trip.pk).status_code == 302
    assert left() == 1


def test_a_kit_that_is_out_stays_and_says_who_has_it(w: make.World) -> None:
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide)
    assert "hand it back first" in text_of(browser(w.keeper).get(KIT))
    answer = post(browser(w.keeper), KIT, **TO)
    assert answer.status_code == 409
    assert w.guide.name in text_of(answer)
    assert left() == 0


def test_afterwards_its_page_and_a_scan_say_that_it_left_and_offer_nothing_to_do(
    w: make.World,
) -> None:
    client = browser(w.keeper)
    assert "Take out" in text_of(client.get("/kits/DAY-01/"))
    assert post(client, KIT, **TO).status_code == 302
    for address in ("/kits/DAY-01/", "/scan/?text=DAY-01"):
        text = text_of(client.get(address))
        assert "DAY-01 was sold or given away on" in text
        for offered in ("DAY-01 is here", "Add ", "minimum 1.", "Check contents and restock"):
            assert offered not in text, (address, offered)
    assert 'value="check-out"' in client.get("/kits/DAY-01/").content.decode()  # an emergency only


def test_others_do_not_see_it(w: make.World) -> None:
    for address in (KIT, PAPERS):
        assert browser(w.guide).get(address).status_code == 403
        assert browser(w.stranger).get(address).status_code in (403, 404)


def test_units_of_a_batch_leave_a_shelf(w: make.World) -> None:
    client = browser(w.keeper)
    at = f"/stock/at/{w.shelf.pk}/{w.dressings.pk}/"
    assert f'href="{at}leave/"' in client.get(at).content.decode()
    sale = {**TO, "way": "sold", "price": "3,50", "currency": "gbp"}

    assert post(client, f"{at}leave/", **sale, units="2").status_code == 302

    (entry,) = Entry.objects.filter(kind=EntryKind.LEAVE)
    assert (entry.detail["price"], entry.detail["currency"]) == ("3.50", "GBP")
    assert post(client, f"{at}leave/", **sale, units="9999").status_code == 409
    assert post(client, f"{at}leave/", **{**sale, "way": "lent"}, units="1").status_code == 400
    assert left() == 1
