"""How the last season went beside what was expected of it."""

from typing import Any

from django.http import HttpRequest, HttpResponse

from gearroom.site.web.page.shell import read_page, show
from kits.rules.planning.back_test import Spread
from kits.services.planning import back_tests
from kits.services.planning.back_tests import NeedTest, SeasonTest
from kits.services.text.planning import back_test_texts as own_texts, planning_texts as texts
from kits.services.text.planning.past_use_texts import used
from kits.services.text.planning.rate_texts import word


@read_page()
def back_test(request: HttpRequest) -> HttpResponse:
    """How the last season went beside what was expected of it from all before."""
    done = back_tests.back_test()
    facts = _facts(done) if done else {"no_test": own_texts.no_test()}
    return show(
        request,
        "site/planning/back_test/back_test.html",
        done=done,
        caution=texts.CAUTION,
        **facts,
    )


def _facts(done: SeasonTest) -> dict[str, Any]:
    seasons = (done.earlier, done.season)
    return {
        "shortages": own_texts.expected_shortages(
            *seasons, done.whole.shortages, at_least=done.at_least
        ),
        "shortages_by_chance": own_texts.chance_alone(done.whole.shortages, at_least=done.at_least),
        "noted": own_texts.noted_wants(done.season, done.wants, done.beyond_list),
        "uses": own_texts.expected_uses(*seasons, done.whole.uses, at_least=done.at_least),
        "uses_by_chance": own_texts.chance_alone(done.whole.uses, at_least=done.at_least),
        "outside": own_texts.outside(
            len(done.needs),
            [word(each.need.name) for each in done.outside if _more(each)],
            [word(each.need.name) for each in done.outside if not _more(each)],
        ),
        "trips": own_texts.tested_trips(done.trips, done.not_counted),
        "needs": [
            (each.need, _spread(each, each.done.uses), _spread(each, each.done.shortages))
            for each in done.needs
        ],
        "without_rate": [
            own_texts.without_rate(word(need.name), uses)
            for need, uses in done.without_rate.items()
        ],
    }


def _more(of: NeedTest) -> bool:
    return of.done.uses.happened > of.done.uses.high


def _spread(need: NeedTest, of: Spread) -> dict[str, Any]:
    return {
        "expected": own_texts.average(of.expected),
        "low": of.low,
        "high": of.high,
        "happened": used(of.happened, at_least=need.at_least),
        "by_chance": of.by_chance,
        "more": of.happened > of.high,
    }
