"""Is a kit ready, through which day, and if not, why: one verdict for a span of time and a trip.

Units that are usable through a day are given to the lines of the kit's list (see `allocation`),
each line is judged by what it got, and the kit by its lines and by what is so of it as a whole.
A verdict only worsens with the day it is asked for, and good units more never worsen it; so a few
dates say all of it, and `fit_days` finds them.

Decided here, where the design leaves a choice:

* Units that may never go into a kit (recalled, on hold, training stock, a medicine that no line
  asks for, undated sterile items and medicines, an instrument that failed its check) stop it while
  they are inside: taking them out is one act, and the rest is judged. What is out of date today
  does so where it is a medicine, or its line is must-have or important, or its room is stricter;
  elsewhere it is a note. What runs out of date only during the trip does not count, but need not
  come out.
* Sterile units whose date is not known count, with a note, until the end of the day after
  the kit's contents were entered: dates rubbed off are met at set-up, forty at a time. Medicines
  never.
* A list that is not signed, or whose signature ends before the day, stops a kit that carries
  medicines; without any it is short, and may go with a reason.
* Not checked within its interval is short: a check settles it, and until then someone who may do
  so can answer for it.
* A kit whose contents nobody entered is not judged by them: only what is on record of it as a whole
  (training, lost, in storage, on hold) stops it.
* What its list has replaced counts as before. After the day by which all kits have the new thing, a
  kit that still has the old in its place is low.
* Frost and heat are notes. What a kit's location reaches is what somebody wrote of it, else our
  assumption (`CLIMATE`), not a measurement, and a kit that lives in a vehicle would be stopped for
  a whole winter.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from gearroom.core.rules.grouping import grouped, summed
from kits.rules.ledger.allocation import Allocation
from kits.rules.ledger.expiry import date_known, good_through, soonest
from kits.rules.ledger.facts import (
    Criticality,
    Kind,
    KitState,
    Level,
    Line,
    LivesIn,
    Reason,
    Thing,
    TripNeeds,
    Units,
    Verdict,
    Weight,
)
from kits.rules.ledger.kit_contents import (
    counted_lines,
    home_line,
    inside,
    lasting,
    level_of,
    lots,
    must_come_out,
    old_stock,
    supply,
    why_not_counted,
)
from kits.rules.ledger.reasons import OUT_OF_DATE, ReasonCode
from kits.rules.ledger.suits import suits
from kits.rules.ledger.weather import JUST_FROZEN_C, months_of

EDITION = 2
"""Raised when a change here would judge a kit otherwise than before: what is stored with the kits
is then written anew after the next migrate."""

CLIMATE: dict[LivesIn, tuple[int, int]] = {
    LivesIn.STORE: (5, 30),
    LivesIn.VEHICLE: (-20, 65),
    LivesIn.HUT: (-15, 35),
}
"""The coldest and hottest, in degrees Celsius, that we take a place to reach in a year."""


@dataclass(frozen=True)
class FitDays:
    """Until when a kit is ready as it is, whatever today is; worth storing with the kit.

    `ready_until` ≤ `fit_until` ≤ `may_go_until` are the last days through which it is judged
    *ready*, at most *low*, and not stopped: `date.max` for no limit, None for no day at all.
    `clear_until` is the last day on which nothing inside stops it that is out of date, or has been
    without a date for too long.
    """

    ready_until: date | None
    fit_until: date | None
    may_go_until: date | None
    clear_until: date

    def on(self, today: date) -> "FitDays":
        """Return the same as it holds on `today`, with None for *not now*."""
        if today > self.clear_until:
            return FitDays(None, None, None, self.clear_until)
        days = (self.ready_until, self.fit_until, self.may_go_until)
        ready, fit, may_go = (day if day and day >= today else None for day in days)
        return FitDays(ready, fit, may_go, self.clear_until)


def judge(
    kit: KitState,
    through: date,
    today: date,
    *,
    trip: TripNeeds | None = None,
    others: Sequence[KitState] = (),
) -> Verdict:
    """Return whether `kit` is ready through `through`, with every reason, worst first.

    `today` decides what is out of date now and has to come out. With a `trip` it is also judged
    whether the kit and `others`, the trip's other kits, suit it together.

    Facts of a line's reasons: `line`, `section`, `thing` (name), `thing_id`, `criticality`,
    `carry`, `never_below`, `usable`, `shortfall` (units to reach *carry*), `lacking` (units to
    reach *never below*, 0 when it is only low), `cause` (the code of
    most of the unusable units inside, else "missing"), `lots` (those units: dicts of `batch` id,
    `lot` number, `count`, `fault`, `date` when that came or comes into force, or None), and for an
    instrument `question`. By-eye lines have `level` (None: not known) in place of the numbers.
    *Take out* and *expired inside* have `thing`, `thing_id`, `cause`, `count`, `lots`, `line` (id,
    or None if no line asks for the thing).
    """
    if not kit.contents_entered:
        return Verdict(through, tuple(_on_record(kit)), set_up=False)
    reasons = [
        *_on_record(kit),
        *_of_the_kit(kit),
        *(reason for last, reason in (*_ending(kit), *_replaced(kit)) if through > last),
        *_to_come_out(kit, today),
        *_by_eye(kit),
        *_counted(kit, through),
        *_climate(kit, through, today),
    ]
    alone = Verdict(through, _worst_first(reasons))
    return alone if trip is None else on_trip(alone, kit, trip, others)


def on_trip(
    alone: Verdict, kit: KitState, trip: TripNeeds, others: Sequence[KitState] = ()
) -> Verdict:
    """Return the verdict of `kit` for a trip, from the one by itself through the same day; `others`
    are the trip's other kits."""
    if not alone.set_up:
        return alone
    return Verdict(alone.through, _worst_first((*alone.reasons, *suits(trip, (kit, *others)))))


def _worst_first(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    return tuple(sorted(reasons, key=lambda reason: -reason.weight))


def fit_days(kit: KitState) -> FitDays:
    """Return until when `kit` is ready, fit and may go, for storing: it changes only when the kit
    does. One whose contents nobody entered is ready on no day, and may go unless it is stopped."""
    if not kit.contents_entered:
        stopped = any(True for _ in _on_record(kit))
        return FitDays(None, None, None if stopped else date.max, date.max)
    lasting_reasons = (*_on_record(kit), *_of_the_kit(kit), *_by_eye(kit))
    worst = max((reason.weight for reason in lasting_reasons), default=Weight.NOTE)
    if any(must_come_out(kit, x, date.min) for x in inside(kit)):  # whatever the day
        worst = Weight.STOPS
    ready_until = fit_until = may_go_until = None
    if worst < Weight.STOPS:
        ending = [(last, reason.weight) for last, reason in _ending(kit)]
        stops = [last for last, weight in ending if weight is Weight.STOPS]
        lasts = lasting(kit)
        may_go_until = soonest([lasts.must_haves, *stops])
        if worst < Weight.SHORT:
            fit_until = soonest([lasts.minimums, *(last for last, _ in ending)])
            if worst < Weight.LOW:
                swaps = (last for last, _ in _replaced(kit))
                ready_until = soonest([fit_until, lasts.targets, *swaps])
    clear_until = min((_clear_through(kit, x) for x in inside(kit)), default=date.max)
    return FitDays(ready_until, fit_until, may_go_until, clear_until)


def first_expiry(kit: KitState) -> date | None:
    """Return the earliest last good day of anything inside; None where nothing is dated."""
    return min(filter(None, (good_through(x.batch) for x in inside(kit))), default=None)


# ---- the kit as a whole


def _on_record(kit: KitState) -> Iterable[Reason]:
    """What is on record of the kit as a whole, which stops it whatever is inside."""
    for code, applies in (
        (ReasonCode.TRAINING, kit.training),
        (ReasonCode.LOST, kit.lost),
        (ReasonCode.LAID_UP, kit.laid_up),
    ):
        if applies:
            yield Reason(code, Weight.STOPS)
    for why in kit.withheld:
        yield Reason(ReasonCode.WITHHELD, Weight.STOPS, {"reason": why})


def _of_the_kit(kit: KitState) -> Iterable[Reason]:
    """What is so of the kit whatever the day."""
    if kit.waiting_to_be_sorted:
        yield Reason(ReasonCode.WAITING_TO_BE_SORTED, Weight.STOPS)
    if not kit.lines:
        yield Reason(ReasonCode.LIST_EMPTY, Weight.SHORT)
    if not kit.signed:
        yield Reason(ReasonCode.LIST_NOT_SIGNED, _weight_of_signature(kit))
    if kit.looked_inside_on is None:
        yield Reason(ReasonCode.NOT_LOOKED_INSIDE, Weight.SHORT, {"looked_inside_on": None})
    for section in sorted(kit.away):
        yield Reason(ReasonCode.SECTION_AWAY, Weight.NOTE, {"section": section})


def _ending(kit: KitState) -> Iterable[tuple[date, Reason]]:
    """What is so of the kit after a day: that day, and the reason from the next on."""
    if kit.signed and kit.signed_until is not None:
        facts: dict[str, object] = {"signed_until": kit.signed_until}
        yield kit.signed_until, Reason(ReasonCode.SIGNATURE_ENDS, _weight_of_signature(kit), facts)
    if kit.look_by is not None:
        facts = {"looked_inside_on": kit.looked_inside_on, "look_by": kit.look_by}
        yield kit.look_by, Reason(ReasonCode.NOT_LOOKED_INSIDE, Weight.SHORT, facts)


def _replaced(kit: KitState) -> Iterable[tuple[date, Reason]]:
    """What its list has replaced and the kit still has, with the last day by which it has the new
    thing. It counts as before: the kit is only low, since nobody breaks a seal for it."""
    for each in old_stock(kit):
        if each.old.until is not None:
            facts = _about(each.line) | {"old": each.old.name, "until": each.old.until}
            yield each.old.until, Reason(ReasonCode.REPLACED_INSIDE, Weight.LOW, facts)


def _weight_of_signature(kit: KitState) -> Weight:
    things = (*(line.thing for line in kit.lines), *(x.batch.thing for x in inside(kit)))
    medicines = any(thing.kind is Kind.MEDICINE for thing in things)
    return Weight.STOPS if medicines else Weight.SHORT


def _extremes(kit: KitState, through: date, today: date) -> tuple[int | None, int | None]:
    """The coldest and hottest that it gets where a kit is kept, until a day: as somebody wrote it
    of the location, else what we take such a place to reach."""
    if (weather := kit.weather) is None:
        return CLIMATE[kit.lives_in]
    months = months_of(min(today, through), through)
    coldest = JUST_FROZEN_C if weather.coldest_c is None else weather.coldest_c
    return (
        coldest if months & weather.frost else None,
        weather.hottest_c if months & weather.heat else None,
    )


def _climate(kit: KitState, through: date, today: date) -> Iterable[Reason]:
    coldest, hottest = _extremes(kit, through, today)
    carried = {x.batch.thing.id: x.batch.thing for x in inside(kit)}
    carried |= {line.thing.id: line.thing for line in kit.lines if line.thing.by_eye}
    things = sorted(carried.values(), key=lambda thing: (thing.name, thing.id))
    cold = [
        x.name
        for x in things
        if coldest is not None and x.min_temp_c is not None and x.min_temp_c > coldest
    ]
    hot = [
        x.name
        for x in things
        if hottest is not None and x.max_temp_c is not None and x.max_temp_c < hottest
    ]
    for why, names, reached in ((ReasonCode.FROST, cold, coldest), (ReasonCode.HEAT, hot, hottest)):
        if names:
            facts: dict[str, object] = {
                "things": tuple(names),
                "lives_in": kit.lives_in,
                "reaches_c": reached,
            }
            yield Reason(why, Weight.NOTE, facts)


# ---- what has to come out


def _to_come_out(kit: KitState, today: date) -> Iterable[Reason]:
    """What is inside and may never be, a reason for each thing and fault; what is out of date and
    does not stop it; and what nobody can say the date of, which is worth a look."""
    bad: dict[tuple[str, int, ReasonCode], list[Units]] = defaultdict(list)
    undated: Counter[Thing] = Counter()
    for x in inside(kit):
        if (fault := must_come_out(kit, x, today)) is not None:
            bad[x.batch.thing.name, x.batch.thing.id, fault].append(x)
        elif not date_known(x.batch):
            undated[x.batch.thing] += x.count
    for (name, thing_id, fault), units in sorted(bad.items()):
        home = home_line(kit, units[0])
        harmless = fault in OUT_OF_DATE and not any(_stops_when_expired(kit, x) for x in units)
        facts: dict[str, object] = {
            "thing": name,
            "thing_id": thing_id,
            "cause": fault,
            "count": sum(x.count for x in units),
            "lots": lots((x, fault) for x in units),
            "line": None if home is None else home.id,
        }
        yield (
            Reason(ReasonCode.EXPIRED_INSIDE, Weight.NOTE, facts)
            if harmless
            else Reason(ReasonCode.TAKE_OUT, Weight.STOPS, facts)
        )
    for thing, count in undated.items():
        facts = {"thing": thing.name, "thing_id": thing.id, "count": count}
        yield Reason(ReasonCode.DATE_NOT_KNOWN, Weight.NOTE, facts)


def _stops_when_expired(kit: KitState, units: Units) -> bool:
    """Whether units stop the kit once they are out of date."""
    if units.batch.thing.kind is Kind.MEDICINE or kit.training:
        return units.batch.thing.kind is Kind.MEDICINE
    home = home_line(kit, units)
    needed = home is not None and home.criticality is not Criticality.ROUTINE
    return kit.expired_always_stops or needed


def _clear_through(kit: KitState, units: Units) -> date:
    """The last day through which the dates of units inside do not stop the kit."""
    expires = good_through(units.batch) if _stops_when_expired(kit, units) else None
    return min(day for day in (expires, units.batch.undated_until, date.max) if day is not None)


# ---- lines


def _by_eye(kit: KitState) -> Iterable[Reason]:
    for line in kit.lines:
        if not line.thing.by_eye:
            continue
        level = level_of(kit, line)
        if line.section in kit.away:
            level = Level.EMPTY
        if level is Level.FULL:
            continue
        facts = _about(line) | {"level": level}
        if level is Level.LOW:
            yield Reason(ReasonCode.LOW_BY_EYE, Weight.LOW, facts)
        else:
            yield _lacking(ReasonCode.EMPTY_BY_EYE, line, facts, below=line.never_below > 0)


def _counted(kit: KitState, through: date) -> Iterable[Reason]:
    lines = counted_lines(kit)
    units = inside(kit)
    allocation = Allocation(lines)
    faulty = {n: fault for n, x in enumerate(units) if (fault := why_not_counted(x, through))}
    allocation.add(supply(x for n, x in enumerate(units) if n not in faulty))
    allocation.meet_all()
    faults = grouped(
        (home.id, (units[n], fault))
        for n, fault in faulty.items()
        if (home := home_line(kit, units[n])) is not None
    )
    for i, line in enumerate(lines):
        if (usable := allocation.got(i)) >= line.target:
            continue
        short = usable < line.never_below
        unusable = faults[line.id]
        facts = _about(line) | {
            "carry": line.carry,
            "never_below": line.never_below,
            "usable": usable,
            "shortfall": line.target - usable,
            "lacking": max(0, line.never_below - usable),
            "cause": _main_cause(unusable),
            "lots": lots(unusable),
        }
        yield _lacking(ReasonCode.SHORT if short else ReasonCode.LOW, line, facts, below=short)


def _lacking(code: ReasonCode, line: Line, facts: dict[str, object], *, below: bool) -> Reason:
    """The reason of a line that has too little; `below` its minimum, or only its target."""
    if not below:
        return Reason(code, Weight.LOW, facts)
    must = line.criticality is Criticality.MUST_HAVE
    return Reason(code, Weight.STOPS if must else Weight.SHORT, facts, line.criticality)


def _about(line: Line) -> dict[str, object]:
    facts: dict[str, object] = {
        "line": line.id,
        "section": line.section,
        "thing": line.thing.name,
        "thing_id": line.thing.id,
        "criticality": line.criticality,
    }
    if line.thing.kind is Kind.INSTRUMENT:
        facts["question"] = line.thing.check_question
    return facts


def _main_cause(faults: Sequence[tuple[Units, ReasonCode]]) -> str:
    counts = summed((fault, units.count) for units, fault in faults)
    return max(counts, key=lambda fault: (counts[fault], fault), default="missing")
