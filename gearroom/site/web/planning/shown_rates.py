"""How often something is needed, as pages say it, with what that rests on."""

from dataclasses import dataclass

from kits.models import Need
from kits.services.planning.records.rates import NeedRate, Records
from kits.services.text.planning import planning_texts as texts, rate_texts


@dataclass(frozen=True)
class ShownRate:
    """A need's rate in words: what it is, what it was made from, what was stated or published, what
    our records hold and of how many trips. `blank`: there is none."""

    need: Need
    rate: str
    made_from: str
    prior: str
    recorded: str
    known: str
    blank: bool


def shown(of: NeedRate, activity: str, known: Records) -> ShownRate:
    """A need's rate in words; our records of the activity (a key), or of all where it is empty."""
    low_high = of.interval
    ours = known.recorded(of.need.pk, activity or None)
    cell = ours.closed()
    return ShownRate(
        need=of.need,
        rate=rate_texts.between(of.rate.mean * 1000, low_high[0] * 1000, low_high[1] * 1000)
        if of.rate and low_high
        else texts.no_rate(),
        made_from=rate_texts.made_from(
            of.known_trips, pooled=of.pooled, stated=of.prior is not None
        )
        if of.rate
        else "",
        prior=rate_texts.prior(of.stated),
        recorded=rate_texts.recorded(cell.least, cell.exposure, at_least=cell.open_ended),
        known=rate_texts.known_trips(ours.known, ours.trips) if ours.trips else "",
        blank=of.rate is None,
    )
