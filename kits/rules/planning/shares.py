"""Chances as people say them: so many trips of a hundred, one trip in so many."""

from dataclasses import dataclass

HUNDRED, THOUSAND = 100, 1000


@dataclass(frozen=True)
class Share:
    """`n` of `of`. 0 of 1,000: fewer than one; all of them: nearly all."""

    n: int
    of: int


def share(chance: float) -> Share:
    """A chance (0 to 1) as a number of 100, or of 1,000 where it is nearer than that to 0 or 1."""
    if not 0 <= chance <= 1:
        raise ValueError("A chance is from 0 to 1.")
    of = HUNDRED if 0.005 < chance < 0.995 else THOUSAND
    return Share(round(chance * of), of)


def one_in(chance: float) -> int | None:
    """One in how many: of chances up to a half; None for fewer than one in 1,000."""
    return None if chance < 1 / THOUSAND else round(1 / chance)


def few_in_many(chance: float) -> int | None:
    """How many of 100, for chances above a half, of which *one in* says too little; else None."""
    return min(round(chance * HUNDRED), HUNDRED - 1) if chance > 0.4 else None


def icons(chance: float) -> int:
    """How many of a hundred icons."""
    return round(chance * HUNDRED)
