"""Whether units may be sold or given away: what keeps them here, and what has to be confirmed."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from kits.rules.ledger import Batch, ReasonCode, why_not

KEPT_HERE = frozenset({ReasonCode.RECALLED, ReasonCode.WITHHELD, ReasonCode.CHECK_FAILED})
"""Nobody else is to get these, whoever agrees."""


@dataclass(frozen=True)
class Fault:
    """Why units of a batch are not as good as new to others."""

    batch: Batch
    code: ReasonCode


@dataclass(frozen=True)
class Hindrances:
    """What may not leave, and what may only where somebody confirms that the others know."""

    kept_here: tuple[Fault, ...]
    to_confirm: tuple[Fault, ...]


def hindrances(batches: Iterable[Batch], today: date) -> Hindrances:
    """What stands against these batches leaving today; each batch once, by its gravest fault."""
    faults = [
        Fault(batch, code)
        for batch in {batch.id: batch for batch in batches}.values()
        if (code := why_not(batch, today)) is not None
    ]
    return Hindrances(
        tuple(fault for fault in faults if fault.code in KEPT_HERE),
        tuple(fault for fault in faults if fault.code not in KEPT_HERE),
    )
