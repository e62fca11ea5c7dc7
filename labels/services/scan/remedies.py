"""What is offered for a kit that needs attention before it goes, as ways on from a scan of it."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from kits.services.custody.offers import OfferKind
from labels.rules.codes.scans import Intent
from labels.services.scan.results import NextStep, resend


def next_steps(
    offers: Iterable[Mapping[str, Any]], text: str, needs: Sequence[str] = (), **given: str
) -> list[NextStep]:
    """Offers (see `kits.services.custody.offers.as_values`) as ways on with what `text` means, in
    their order.
    `said` is what was said already of taking it out, `needs` what is wanted for that besides."""
    steps = []
    for offer in offers:
        sentence, fields = offer["says"], offer["fields"]
        match offer["do"]:
            case OfferKind.CHECK:
                way = resend(Intent.LOOK_INSIDE, sentence, text)
            case OfferKind.ADD:
                way = resend(Intent.ADD, sentence, text, **fields)
            case OfferKind.TAKE_OTHER:
                more = {name: fields[name] for name in ("trip", "swap") if name in fields}
                way = resend(Intent.CHECK_OUT, sentence, offer["kit"], needs, **{**more, **given})
            case _:
                wanted = (*needs, *offer["needs"])
                way = resend(Intent.CHECK_OUT, sentence, text, wanted, offer["people"], **given)
        steps.append(way)
    return steps
