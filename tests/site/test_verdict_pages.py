"""A kit's verdict on pages: the word, the question that it answers, the first expiry, and marks
that say the same for whoever compares them."""

from __future__ import annotations

import re
from html import unescape

import pytest

from kits.services import custody, fitness, reservations, verdict_wording, verdicts, wording
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, text_of

pytestmark = PAGES_ON_SQLITE

MARK = re.compile(
    r'data-kit="([^"]*)" data-through="([^"]*)" data-trip="([^"]*)" data-verdict="([^"]*)">([^<]*)<'
)


@pytest.fixture
def world():
    return make.world()


def marks(response):
    """What a page says of kits: {name: {(through, trip, slug, words)}}."""
    found = {}
    for kit, *says in MARK.findall(unescape(response.content.decode())):
        found.setdefault(kit, set()).add(tuple(says))
    return found


def expected(kit):
    """What every surface must say of a kit."""
    judged = verdicts.judged_one(make.fresh(kit))
    trip = judged.question.trip
    return {
        (
            judged.question.through.isoformat(),
            str(trip.pk) if trip else "",
            str(judged.verdict.word),
            verdict_wording.verdict(judged.verdict),
        )
    }


def every_word(world):
    """Kits under each of the five words, by word."""
    low = make.kit("DAY-03", world.version, world.store)
    make.put_in(low, world.lots["d2"], world.upper, 5)
    make.put_in(low, world.lots["shears"], world.shelf, 1)
    make.put_in(low, world.lots["tablets"], world.shelf, 8, key="pouch")
    short = make.kit("DAY-04", world.version, world.store)
    make.put_in(short, world.lots["d2"], world.upper, 5)
    make.put_in(short, world.lots["shears"], world.shelf, 1)
    unset = make.kit("DAY-05", world.version, world.store, entered=False)
    for kit in (low, short):
        kit.looked_inside_on = make.TODAY
        kit.save(update_fields=["looked_inside_on"])
        fitness.rewrite([kit.pk])
    return {
        "ready": world.day_01,
        "low": low,
        "short": short,
        "do-not-take": world.day_02,
        "not-set-up": unset,
    }


def test_the_kits_page_says_each_of_the_five_words_and_which_day_it_judged(world):
    kits = every_word(world)

    page = browser(world.guide).get("/kits/")

    said = marks(page)
    for word, kit in kits.items():
        assert said[kit.name] == expected(kit)
        assert {slug for _, _, slug, _ in said[kit.name]} == {word}
    day = verdict_wording.judged_for(make.TODAY)
    expiry = verdict_wording.first_expiry(make.days(300))
    assert f"Ready {day} · {expiry}" in text_of(page)
    assert "through" not in text_of(page)


def test_a_kit_that_is_out_or_reserved_says_for_which_trip_it_is_judged(world):
    ridge = make.trip("Ridge walk", world.store, last=3)
    custody.check_out(
        make.act(world.keeper), world.day_01, person=world.guide, trip=ridge, short_reason="All."
    )
    gorge = make.trip("Gorge", world.store, first=2, last=4)
    reservations.reserve(make.act(world.keeper), world.day_02, gorge)

    for path in ("/kits/", "/kits/DAY-01/"):
        page = browser(world.guide).get(path)
        assert marks(page)["DAY-01"] == expected(world.day_01)
        assert verdict_wording.judged_for(make.days(3), "Ridge walk") in text_of(page)
    page = browser(world.guide).get("/kits/DAY-02/")
    assert marks(page)["DAY-02"] == expected(world.day_02)
    assert verdict_wording.judged_for(make.days(4), "Gorge") in text_of(page)


def test_a_kits_page_says_its_word_with_every_reason_and_the_first_expiry_apart(world):
    for kit in every_word(world).values():
        page = browser(world.guide).get(f"/kits/{kit.name}/")
        assert marks(page)[kit.name] == expected(kit)
        says = text_of(page)
        assert "Fit until" not in says
        for reason in verdicts.judged_one(make.fresh(kit)).verdict.reasons:
            assert wording.reason(reason)["text"] in says
    expiry = make.fresh(world.day_01).first_expiry
    says = text_of(browser(world.guide).get("/kits/DAY-01/"))
    assert verdict_wording.first_expiry(expiry) in says


def test_the_api_says_of_kits_what_the_pages_say(world):
    kits = every_word(world)
    answer = make.caller(world.guide).get("kits/").json()
    said = {row["name"]: row for row in answer["results"]}
    for word, kit in kits.items():
        row = said[kit.name]
        ((through, trip, slug, words),) = expected(kit)
        assert (row["verdict"], row["verdict_text"]) == (word, words) == (slug, words)
        assert (row["through"], row["trip"] or "") == (through, trip)
    assert said["DAY-01"]["first_expiry"] == make.days(300).isoformat()
    assert said["DAY-01"]["ready_until"] <= said["DAY-01"]["fit_until"]
    assert said["DAY-03"]["ready_until"] is None
    assert said["DAY-03"]["fit_until"] is not None
