"""The demonstration: every page of planning has something true to say of every kit and list, and
those of buying of what to order, from whom and at which price."""

import re
from collections.abc import Callable, Iterator

import pytest
from django.test import Client

from gearroom.core.models import User
from kits.models import (
    Closing,
    Item,
    Kit,
    ListLine,
    NotCarried,
    PackingListVersion,
    Receipt,
    Trip,
)
from kits.rules.ledger import Kind
from kits.services.text.planning import planning_texts
from tests.core.test_benches import LIMIT_SECONDS, measures
from tests.engines import Engine
from tests.program import environment, manage
from tests.site.browsing import text_of

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]

NOTHING = re.compile(
    "|".join(
        (
            "not known yet",
            "No known trips yet",
            "Nothing can be worked out",
            "Nothing was (used|thrown out)",
            "nothing can be compared",
            "or nothing is on record",
            "has come back from a trip yet",
            "has a price",
            "we do not know what it costs",
            "Hours to care: not on record",
            "The weight is not known",
            "No need is recorded for any item on these",
        )
    )
)
"""Sentences that say that nothing is known."""
PLANS = ("/plan/", "/costs/", "/replay/", "/past-use/", "/back-test/", "/rates/")
USED_UP = (Kind.CONSUMABLE, Kind.MEDICINE)


@pytest.fixture(scope="module")
def demonstration(
    _engines: dict[str, Engine], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    """The address of a database with the demonstration in it: loading it takes long."""
    url = _engines["sqlite"].copy()
    env = environment(tmp_path_factory.mktemp("demonstration"), DATABASE_URL=url)
    manage("demo", "--load-only", env=env, timeout=LIMIT_SECONDS)
    yield url
    _engines["sqlite"].drop(url)


@pytest.fixture
def jo(engine: str, demonstration: str, use_database: Callable[[str], None]) -> Client:
    use_database(demonstration)
    client = Client()
    client.force_login(User.objects.get(username="jo"))
    return client


def pages() -> Iterator[tuple[str, str]]:
    """Every page of planning, with what it has to say."""
    yield (
        "/past-use/",
        r"what was used on \d+ of \d+ trips.*Needed but not in the kit "
        r".*Thrown out unused: [\d.]+ GBP",
    )
    yield "/back-test/", r"shortages were expected, based on the records of .* On record: "
    yield "/rates/", r"\d+ in [\d,]+"
    yield "/needs/", "chest pain"
    yield "/stock/order/?weeks=26", "50 of 100 still to come.*Hollowbeck First Aid.*for use until"
    yield "/stock/prices/", "nitrile gloves, pair"
    yield "/bought-kits/", r"keep \d+, extras \d+, teaching \d+, throw away 10"
    for version in PackingListVersion.objects.all():
        at = f"/lists/{version.packing_list_id}/{version.number}/"
        yield at, "Does it fit the bag\\?.*Everything carried weighs"
        yield f"{at}plan/", "Expect this list to be short of something on"
        yield (
            f"{at}costs/",
            "One kit costs .* GBP a year; .* of that is for units that go out of date",
        )
        yield f"{at}replay/", r"Based on \d+ recorded trips with "
    for kit in Kit.objects.all():
        yield f"/kits/{kit.name}/plan/", "Expect this list to be short of something on"
        yield f"/kits/{kit.name}/costs/", "One kit costs .* GBP a year"


def test_every_page_of_planning_has_something_true_to_say(jo: Client) -> None:
    wrong = []
    never_bought = Item.objects.exclude(pk__in=Receipt.objects.values("lot__item"))
    named = [item.name for item in never_bought]  # of these it is true that no price is known
    for path, says in pages():
        words = text_of(jo.get(path))
        if not re.search(says, words):
            wrong.append((path, says))
        if path != "/rates/":
            wrong += [
                (path, words[m.start() - 90 : m.end() + 20])
                for m in NOTHING.finditer(words)
                if not any(name in words[m.start() - 150 : m.start()] for name in named)
            ]
        if path.endswith(PLANS) and str(planning_texts.CAUTION) not in words:
            wrong.append((path, "no caution"))
    assert not wrong, wrong

    # What the pages rest on.
    seasons = {(t.first_day.year, (t.first_day.month - 1) // 3) for t in Trip.objects.all()}
    assert len(seasons) >= 4
    assert not Trip.objects.filter(activity=None).exists()
    assert not Trip.objects.filter(hours_to_care=None).exists()
    assert Trip.objects.filter(checkouts__kit__name="WORK-01").distinct().count() >= 4
    assert set(Closing.objects.values_list("closed", flat=True)) == {True, False, None}
    for packing_list in {v.packing_list for v in PackingListVersion.objects.all()}:
        first, second, *_drafts = packing_list.versions.order_by("number")
        assert not NotCarried.objects.filter(version=first).exists()
        assert NotCarried.objects.filter(version=second).exists()
        assert ListLine.objects.filter(section__version=second).exclude(reason="").exists()
    without = ListLine.objects.filter(item__needs=None, item__kind__in=USED_UP, item__by_eye=False)
    assert set(without.values_list("item__name", flat=True)) == {
        "hand gel 50 ml",
        "paper tape 2.5 cm",
        "spare batteries, set of 3 AAA",  # they go with the torch
    }


def test_the_bench_of_plans_prints_what_it_measures(engine: str, demonstration: str) -> None:
    measures("plan", "--url", demonstration)
