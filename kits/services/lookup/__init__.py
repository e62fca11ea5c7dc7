"""Finding what a request names, who has it and what it is promised to."""

from kits.services.lookup.holders import kit_is_out, last_checkout, open_checkout, refuse_if_out
from kits.services.lookup.own_side import receipts_of, without_strangers
from kits.services.lookup.promises import OpenPromise, refuse_ended

__all__ = [
    "OpenPromise",
    "kit_is_out",
    "last_checkout",
    "open_checkout",
    "receipts_of",
    "refuse_ended",
    "refuse_if_out",
    "without_strangers",
]
