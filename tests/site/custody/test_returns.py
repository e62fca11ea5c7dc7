"""What the evening brings, on pages: kits to count, what may come back, what is not ours."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine

from gearroom.core import clock
from kits.models import Entry
from kits.rules.custody.use import Went
from kits.rules.ledger.facts import Kind
from kits.services.custody import custody, returns, use
from kits.services.custody.use import UseLine
from kits.services.kits import holds
from kits.services.ledger import audit
from kits.services.overview import board as kits_board
from kits.services.stock import away, counting
from tests.kits import again, factories as make
from tests.labels.scan import scanned
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
@again.kept
def w() -> make.World:
    made = scanned.labelled().world
    made.splint = make.item("Splint", Kind.TOOL, needs_date=False)
    made.splints = make.some(made.splint, made.shelf, 4, "S1")
    make.put_in(made.day_01, made.splints, made.shelf, 2)
    return made


def out_and_back(w: make.World, kit: Any = None, **more: Any) -> custody.CheckIn:
    kit = kit or w.day_01
    custody.check_out(make.act(w.keeper), kit, person=w.guide, already_gone=True)
    return custody.check_in(make.act(w.keeper), kit, **more)


def later(hours: int) -> time_machine.travel:
    return time_machine.travel(clock.now() + timedelta(hours=hours), tick=False)


# ------------------------------------------------ two days without a word
def test_a_kit_of_which_nobody_said_what_was_used_is_counted_after_two_days(w: make.World) -> None:
    out_and_back(w)

    with later(47):
        assert [row.count for row in kits_board.board(w.store).to_sort] == [False]
    with later(49):
        page = browser(w.keeper).get("/")
    assert "What was used was not entered within two days: count the kit." in text_of(page)
    assert "/kits/DAY-01/count/" in page.content.decode()


@pytest.mark.parametrize("answer", ["said", "counted"])
def test_an_answer_or_a_count_ends_that(w: make.World, answer: str) -> None:
    out_and_back(w)
    if answer == "said":
        use.log_use(make.act(w.keeper), w.day_01, [])
    else:
        counting.count(make.act(w.keeper), list(w.day_01.sections.all()), [], complete=True)

    with later(49):
        assert not any(row.count for row in kits_board.board(w.store).to_sort)


# ------------------------------------------------ count both
def test_kits_mixed_up_are_one_line_on_the_board_and_nowhere_else(w: make.World) -> None:
    out_and_back(w)
    holds.report_mixed(make.act(w.guide), w.day_01, [w.day_02])

    on_it = kits_board.board(w.store)

    assert [[kit.name for kit in job.kits] for job in on_it.mixed] == [["DAY-01", "DAY-02"]]
    listed = [row.kit.name for row in on_it.to_sort]
    listed += [row.kit.name for row in on_it.needing.listed]
    assert "DAY-01" not in listed and "DAY-02" not in listed
    assert "Count both" in text_of(browser(w.keeper).get("/"))
    page = text_of(browser(w.keeper).get("/kits/DAY-02/"))
    assert "Count the kit" in page and "release" not in page
    counting.count(make.act(w.keeper), list(w.day_01.sections.all()), [], complete=True)
    page = text_of(browser(w.keeper).get("/"))
    assert "Count both" not in page and "Count DAY-02" in page


def test_the_hand_back_page_takes_them(w: make.World) -> None:
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide, already_gone=True)
    custody.check_out(make.act(w.keeper), w.day_02, person=w.guide, already_gone=True)

    post(
        browser(w.keeper),
        "/kits/DAY-01/hand-back/",
        **{
            "sharps": "no",
            "mixed": "DAY-02",
            "needed": "crutch",
            "in_class": "1",
            f"used-{w.dressing.pk}": "1",
            f"away-{w.splint.pk}": "2",
        },
    )

    assert [kit.name for job in kits_board.board(w.store).mixed for kit in job.kits] == [
        "DAY-01",
        "DAY-02",
    ]
    assert [need.words for need in returns.needs_in_force()] == ["crutch"]
    assert [row.units for row in away.in_rooms([w.store.pk])] == [2]
    assert list(audit.findings()) == []


# ------------------------------------------------ may come back
def test_what_may_come_back_is_listed_and_ends_in_one_tap(w: make.World) -> None:
    out_and_back(w, used=[UseLine(w.splint, 2, went=Went.MAY_COME_BACK)])
    client = browser(w.keeper)
    assert "Went with a casualty (may be returned)" in text_of(client.get("/"))
    assert "2 × Splint" in text_of(client.get("/away/"))
    said = {"kit": "DAY-01", "lot": w.splints.pk, "units": "1", "shelf": w.upper.pk}

    post(client, "/away/", **said)
    wrong = post(client, "/away/", **{**said, "units": "one"})
    post(client, "/away/", **said, gone="1")

    assert wrong.status_code == 400
    assert "There are no items that may still be returned." in text_of(client.get("/away/"))
    assert make.units(w.splints, w.upper) == 1
    assert list(audit.findings()) == []


# ------------------------------------------------ not ours
def test_what_is_a_participants_is_asked_for_until_it_is_given_back(w: make.World) -> None:
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide, already_gone=True)
    client = browser(w.guide)
    assert "This kit contains a participant’s own medicine" in text_of(client.get("/kits/DAY-01/"))
    post(client, "/kits/DAY-01/not-ours/", inside="1")

    for page in ("/kits/DAY-01/hand-back/", "/scan/?text=DAY-01", "/kits/DAY-01/"):
        assert "Given back" in text_of(client.get(page)), page
    back = post(client, "/scan/", text="DAY-01", intent="check-in", as_found="closed")
    assert "Given back" in text_of(back)
    assert "Participant’s own item inside" in text_of(client.get("/"))
    post(client, "/kits/DAY-01/not-ours/", inside="0")

    assert not returns.has_own(w.day_01)
    assert "Participant’s own item inside" not in text_of(client.get("/"))


def test_nothing_but_that_it_is_there_is_recorded(w: make.World) -> None:
    post(browser(w.guide), "/kits/DAY-01/not-ours/", inside="1", what="inhaler", who="Ann")

    entry = Entry.objects.latest("id")
    assert (entry.kind, entry.detail, entry.reason) == ("not-ours", {"inside": True}, "")
