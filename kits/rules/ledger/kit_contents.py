"""What is inside a kit: what counts, what has to come out, and which line it belongs to."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from kits.rules.ledger.allocation import Pool
from kits.rules.ledger.expiry import date_known, good_through, may_be_put_in, must_be_dated, why_not
from kits.rules.ledger.facts import Batch, Kind, KitState, Line, Units
from kits.rules.ledger.reasons import ReasonCode


def inside(kit: KitState) -> list[Units]:
    """Return the units that go where the kit goes: not those of sections out on their own. What
    has to be dated and is not carries until when that is tolerated."""
    return [_let_be(kit, x) for x in kit.units if x.count > 0 and x.place not in kit.away]


def _let_be(kit: KitState, units: Units) -> Units:
    batch = units.batch
    if (
        kit.undated_grace_until is None
        or date_known(batch)
        or not must_be_dated(batch)
        or batch.thing.kind is Kind.MEDICINE
    ):
        return units
    return replace(units, batch=replace(batch, undated_until=kit.undated_grace_until))


def counted_lines(kit: KitState) -> list[Line]:
    """Return the kit's lines that are counted, not judged by eye."""
    return [line for line in kit.lines if not line.thing.by_eye]


def why_not_counted(units: Units, through: date) -> ReasonCode | None:
    """Return why units inside a kit do not count through a day, or None if they do."""
    return ReasonCode.TRAINING_STOCK if units.training else why_not(units.batch, through)


def usable_supply(units: Iterable[Units], through: date) -> dict[Pool, int]:
    """Return how many of `units` are usable through `through`, by thing and place."""
    return supply(x for x in units if why_not_counted(x, through) is None)


def supply(units: Iterable[Units]) -> dict[Pool, int]:
    """Return how many `units` there are, by thing and place."""
    counts: Counter[Pool] = Counter()
    for x in units:
        counts[x.batch.thing.id, x.place] += max(x.count, 0)
    return +counts


def must_come_out(kit: KitState, units: Units, today: date) -> ReasonCode | None:
    """Return why units that are inside `kit` may not stay there when it goes, or None if they
    may. It is the rule of `may_be_put_in`, except that a medicine only needs a line that
    wants it: whether the list is signed is one reason for the whole kit."""
    medicine = units.batch.thing.kind is Kind.MEDICINE
    return may_be_put_in(
        units.batch,
        today,
        list_signed=not medicine or home_line(kit, units) is not None,
        training_stock=units.training and not kit.training,
    )


def home_line(kit: KitState, units: Units) -> Line | None:
    """Return the line that units inside belong to: one for the thing itself in their section,
    else anywhere, else one that can use it instead, its own section first; None if no line wants
    the thing."""
    thing = units.batch.thing.id
    return min(
        (line for line in kit.lines if thing in line.usable_things),
        key=lambda line: (line.thing.id != thing, line.section != units.place),
        default=None,
    )


def lots(faults: Iterable[tuple[Units, ReasonCode]]) -> tuple[dict[str, object], ...]:
    """Return unusable units as facts for a sentence, a dict for each batch and fault: `batch` id,
    `lot` number, `count`, `fault`, and `date`, the last day it was or is good (an instrument's
    check: the day it is due), None where there is none."""
    counts: Counter[tuple[int, ReasonCode]] = Counter()
    batches: dict[int, Batch] = {}
    for x, fault in faults:
        batches[x.batch.id] = x.batch
        counts[x.batch.id, fault] += x.count
    return tuple(
        {
            "batch": batch_id,
            "lot": batches[batch_id].number,
            "count": count,
            "fault": fault,
            "date": (
                batches[batch_id].check_due
                if fault is ReasonCode.CHECK_DUE
                else good_through(batches[batch_id])
            ),
        }
        for (batch_id, fault), count in sorted(counts.items())
    )
