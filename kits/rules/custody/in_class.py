"""Training kits and classes: when one goes out for a class, and what becomes of what it holds."""

from kits.rules.custody.use import Went
from kits.rules.ledger.facts import Kind, Reason, Verdict
from kits.rules.ledger.reasons import ReasonCode


def usable_in_class(kind: Kind, disposal: str) -> bool:
    """Whether a class can use a thing: never a medicine, nor what may not go into a bin (sharps,
    clinical waste). `disposal` is the thing's own way."""
    return kind is not Kind.MEDICINE and disposal in ("bin", "returned")


def goes_to_class(*, training: bool, for_trip: bool, emergency: bool) -> bool:
    """Whether a kit that is taken out goes to a class: nobody relies on it there, so that how ready
    it is does not matter."""
    return training and not for_trip and not emergency


def keeps_from_class(verdict: Verdict) -> Reason | None:
    """What keeps a training kit from a class: that it is on hold or in storage, and nothing else
    of how it stands."""
    keep = (ReasonCode.WITHHELD, ReasonCode.LAID_UP)
    return next((reason for reason in verdict.reasons if reason.code in keep), None)


def back_from_class(*, training: bool, emergency: bool, sharps_or_blood: bool) -> bool:
    """Whether a kit that comes back needs no sorting, because it was only in a class. One that was
    taken in an emergency, or has sharps or blood in it, was used in earnest."""
    return training and not emergency and not sharps_or_blood


def became(went: Went, *, training: bool, emergency: bool) -> Went:
    """What became of units reported as used: in a training kit they were used in class, unless
    somebody took it in an emergency."""
    return Went.IN_CLASS if training and not emergency and went is Went.USED else went
