"""Where a thing may be thrown out, so that no needle ends in a bin."""

from kits.rules.ledger.facts import Kind

DISPOSALS = ("bin", "sharps", "clinical", "pharmacy", "returned")
"""Bin, sharps tub, clinical waste, pharmacy, returned to its maker."""


def allowed(kind: Kind, own: str) -> tuple[str, ...]:
    """Return the ways a thing may go whose own way is `own`, that one first.

    What may go into a bin may go anywhere. Anything else goes its own way or back to its maker;
    a medicine also to a pharmacy, and never into a bin or a sharps tub unless it is sharp itself.
    Local rules say which way is a thing's own.
    """
    if kind is Kind.MEDICINE:
        own_way = own if own in ("sharps", "clinical") else "pharmacy"
        return tuple(dict.fromkeys((own_way, "pharmacy", "returned")))
    return DISPOSALS if own == "bin" else (own, "returned")
