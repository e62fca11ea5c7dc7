"""What is to be known of each kit for each trip of a season, in words: as far as the kit alone is
looked at, and apart from the days on which it is away."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from django.utils.translation import gettext as _

from kits.rules.ledger.facts import Reason, Weight
from kits.rules.trips.proposal import PassedOver
from kits.rules.trips.season import SeasonKit, SeasonTrip, lacking
from kits.services.text import wording
from kits.services.trips.proposals import reason_row
from kits.services.trips.season.season_kits import SeasonKits


def remarks(season: SeasonKits) -> dict[str, Sequence[str]]:
    """By a kit's name, what is to be known of it for each trip, in order of the trips."""
    trips = [season.season.trip[row.trip.pk] for row in season.trips]
    days = [wording.day(trip.needs.last_day) for trip in trips]
    likes = {kit.id: replace(kit.like, busy=(), movable=frozenset()) for kit in season.season.kits}
    of_like = {
        like: [" ".join(_remarks(like, *each)) for each in zip(trips, days, strict=True)]
        for like in set(likes.values())
    }
    return {kit.name: of_like[likes[kit.pk]] for kit in season.kits}


def _remarks(kit: SeasonKit, trip: SeasonTrip, day: str) -> Iterable[str]:
    if not kit.is_back(trip):
        yield _("It is not back in time.")
    if trip.needs.latex_free and kit.latex:
        yield _("It contains latex, and the trip needs latex-free kits.")
    elif not kit.may_go(trip):
        yield _("It is not ready for the whole trip (until %(day)s).") % {"day": day}
    elif not kit.is_ready(trip):
        yield _("It has to be restocked first.")
    else:
        yield _("It is ready for the whole trip (until %(day)s).") % {"day": day}
    yield from _not_served(kit, trip)


def _not_served(kit: SeasonKit, trip: SeasonTrip) -> Iterable[str]:
    lack = lacking(trip, [kit])
    if lack.people and kit.people >= trip.needs.people:
        facts: dict[str, object] = {"made_for": kit.days, "days": trip.needs.days}
        yield reason_row(Reason(PassedOver.FEWER_DAYS, Weight.SHORT, facts))["text"]
    elif lack.people:
        facts = {"served": kit.people, "people": trip.needs.people}
        yield reason_row(Reason(PassedOver.FEWER_PEOPLE, Weight.SHORT, facts))["text"]
    if lack.hazards:
        hazards = ", ".join(wording.hazards(lack.hazards))
        yield _("Its kit list is not made for: %(hazards)s.") % {"hazards": hazards}
    if lack.children:
        yield _("It has nothing for children.")
