"""Spare batteries go with their torch: named where it is checked, missed where it must be there."""

import uuid

import pytest

from kits.models import Item, ListLine
from kits.rules.ledger.facts import Criticality
from kits.services.ledger import audit, verdicts
from kits.services.stock import instruments
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh
from tests.site.browsing import browser, post, text_of

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@pytest.fixture
def w() -> World:
    """DAY-01 must have the gauge, and has no spare battery for it yet."""
    made = make.world()
    battery = make.item("Battery AAA", needs_date=False)
    made.named = {"battery": battery}
    made.lots["battery"] = make.some(battery, made.shelf, 8)
    main = made.version.sections.get(key="main")
    for item, carry, matters in (
        (made.gauge, 1, Criticality.MUST_HAVE),
        (battery, 2, Criticality.ROUTINE),
    ):
        ListLine.objects.create(
            section=main, item=item, carry=carry, never_below=0, criticality=matters, position=9
        )
    return made


def word(w: World) -> str:
    return str(verdicts.verdict(fresh(w.day_01), make.today()).word)


def link(w: World, to: str) -> str:
    client, address = browser(w.keeper), f"/stock/{w.named['battery'].pk}/edit/"
    done = post(client, address, uuid.uuid4(), **{"with_item": to, "goes-with": "1"})
    return text_of(client.get(done["Location"]))


def test_without_any_a_kit_that_must_have_the_instrument_is_short(w: World) -> None:
    instruments.check(act(w.keeper), w.lots["gauge"], passed=True)
    make.put_in(w.day_01, w.lots["gauge"], w.shelf, 1)
    assert word(w) == "low"
    assert "Battery AAA now goes with Pressure gauge." in link(w, str(w.gauge.pk))
    assert Item.objects.get(name="Battery AAA").goes_with == w.gauge
    assert word(w) == "short"
    assert list(audit.findings()) == []
    make.put_in(w.day_01, w.lots["battery"], w.shelf, 2)
    assert word(w) == "ready"
    assert "does not go with any other item" in link(w, "")
    assert list(audit.findings()) == []


def test_the_check_of_the_instrument_names_what_goes_with_it(w: World) -> None:
    link(w, str(w.gauge.pk))
    make.put_in(w.day_01, w.lots["gauge"], w.shelf, 1)
    text = text_of(browser(w.keeper).get("/kits/DAY-01/"))
    assert "Goes with it: 0 × Battery AAA inside" in text
    make.put_in(w.day_01, w.lots["battery"], w.shelf, 2)
    text = text_of(browser(w.keeper).get("/kits/DAY-01/"))
    assert "Goes with it: 2 × Battery AAA inside" in text
