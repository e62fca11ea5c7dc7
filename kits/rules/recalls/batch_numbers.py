"""Of what a batch number is asked: where a recall has to find the very packs. Of anything else it
may be left out; a recall then says *maybe* of it."""

from kits.rules.ledger.facts import Criticality, Kind


def is_asked(kind: Kind, *, sterile: bool, criticality: Criticality) -> bool:
    """Whether the batch number of an item on a line is asked: a medicine, sterile, or a must-have.
    Tools and papers have none."""
    if kind not in (Kind.CONSUMABLE, Kind.MEDICINE):
        return False
    return kind is Kind.MEDICINE or sterile or criticality is Criticality.MUST_HAVE
