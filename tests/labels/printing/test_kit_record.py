"""An inspector's pack: what was on record of a kit on a day, as PDF, by the API and by its page."""

from typing import Any

import pytest

from gearroom.core import clock
from kits.models import Entry
from kits.services.custody import custody
from kits.services.ledger import readiness, verdicts
from kits.services.ledger.undo import reversal
from kits.services.recalls import recalls
from kits.services.text import verdict_texts
from tests.kits import factories as make
from tests.labels.printing.printed import texts
from tests.site.browsing import browser

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def pack(w: make.World, query: str = "", kit: str = "DAY-01") -> str:
    answer = make.caller(w.keeper).get(f"kits/{kit}/record/{query}")
    assert answer.status_code == 200 and answer["Content-Type"] == "application/pdf"
    return " ".join(texts(answer.getvalue()))


def take_out(w: make.World) -> Any:
    act = make.act(w.keeper)
    return custody.check_out(act, w.day_01, person=w.guide, trip=None, due_at=None)


def test_it_says_what_every_other_page_says_of_the_kit(w: make.World) -> None:
    for kit in (w.day_01, w.day_02):
        today = readiness.today_of(kit)
        word = verdict_texts.verdict(verdicts.verdict(kit, today))
        assert word in pack(w, kit=kit.name)
    says = pack(w)
    assert "6 × D1" in says and "Day walk" in says and w.adviser.name in says
    assert "Look at every pack before use." in says


def test_what_was_undone_later_is_still_in_what_was_known_then(w: make.World) -> None:
    out = take_out(w)
    then = clock.now()
    reversal.reverse(make.act(w.keeper), Entry.objects.get(kind="check-out", kit=w.day_01).pk)
    known = f"?known_by={then.isoformat().replace('+', '%2B')}"
    assert f"Who had it {w.guide.name}" in pack(w, known)
    says = pack(w)
    assert "Who had it nobody: it was not out" in says
    assert f"Record {out.entry.pk}, undone on" in says


def test_a_recall_that_touched_the_kit_is_in_it(w: make.World) -> None:
    assert "No recall on record concerned this kit." in pack(w)
    recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="D1")
    says = pack(w)
    assert "recalled by its maker" in says and "It was still open." in says
    assert "Do not take" in says


def test_a_day_to_come_and_acts_from_after_the_day_are_refused(w: make.World) -> None:
    ask = make.caller(w.keeper).get
    tomorrow, today = make.days(1), make.days(0)
    for query, field in ((f"on={tomorrow}", "on"), (f"on={today}&since={tomorrow}", "since")):
        answer = ask(f"kits/DAY-01/record/?{query}")
        assert answer.status_code in (400, 422) and field in answer.json()["errors"], query


def test_its_page_gives_it_as_of_an_evening_too(w: make.World) -> None:
    page = browser(w.keeper)
    assert 'name="print"' in page.get("/kits/DAY-01/as-of/").content.decode()
    answer = page.get(f"/kits/DAY-01/as-of/?print=1&on={make.days(-1)}&known=then")
    assert answer["Content-Type"] == "application/pdf"
    assert "Not set up yet" in " ".join(texts(answer.getvalue()))
