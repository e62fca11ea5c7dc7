"""A draft of what a kit carries, from needs: what is carried and why, and what is not and why not.

The same facts always give the same draft. What a hazard asks for and what is must-have is always
carried; a rare need is left out with how rare it is, and whoever signs decides.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from kits.rules.ledger.facts import Criticality
from kits.rules.planning import demand as demands, quantities
from kits.rules.planning.demand import Probabilities, Rate

FAR_FROM_CARE = Decimal(4)
"""From so many hours to definitive care on, what the hazard *remote* asks for is carried: half a
day with a patient, in which a limb is held still and somebody lies in the cold."""
REMOTE = "remote"
SEASON_HAZARDS: Mapping[str, Sequence[str]] = {
    "spring": (),
    "summer": ("heat",),
    "autumn": (),
    "winter": ("winter",),
}
"""What a season brings with it, as a hazard."""
SEASONS = tuple(SEASON_HAZARDS)
ORDER = (Criticality.ROUTINE, Criticality.IMPORTANT, Criticality.MUST_HAVE)


class Why(StrEnum):
    """Why something is carried."""

    HAZARD = "hazard"
    MUST_HAVE = "must-have"
    LIKELY = "likely"
    WHEN = "when"  # a line not carried says that it is carried on such a trip
    KEPT = "kept"


class WhyNot(StrEnum):
    """Why nothing is carried for a need."""

    UNTRAINED = "untrained"
    RARE = "rare"
    NO_RATE = "no-rate"
    NO_ITEM = "no-item"


@dataclass(frozen=True)
class Choice:
    """An item that serves a need: as the best there is or instead of it, with the chances of 0, 1,
    2 … units a use. `training`: to be used only by somebody trained for the need; `child`: made for
    children."""

    item: int
    best: bool
    units: Probabilities
    training: bool = False
    child: bool = False

    @property
    def one_use(self) -> int:
        """Units that are enough for one use, more often than not."""
        return max(1, quantities.enough_for(self.units, 0.5))


@dataclass(frozen=True)
class Wanted:
    """A need as a draft looks at it: its rate if there is one, the items that serve it, the units
    that hazards ask for (0: none asks), whether it can threaten life, whether somebody is trained
    for it (None: not said), and whether it is carried for on such a trip by what was decided."""

    need: int
    rate: Rate | None = None
    choices: Sequence[Choice] = ()
    asked: int = 0
    life: bool = False
    trained: bool | None = None
    decided: bool = False


@dataclass(frozen=True)
class Present:
    """A line of the list that the draft starts from."""

    quantity: int
    minimum: int
    priority: Criticality


@dataclass(frozen=True)
class Group:
    """Who goes: participant-days of the trip, and how many of the people are children."""

    people: int
    days: int
    children: int = 0

    def __post_init__(self) -> None:
        if self.people < 1 or self.days < 1 or not 0 <= self.children <= self.people:
            raise ValueError("A group has people and days, and no more children than people.")

    @property
    def participant_days(self) -> float:
        """The exposure of one trip."""
        return float(self.people * self.days)


@dataclass(frozen=True)
class Line:
    """An item that the draft carries, for which needs and why; `untrained` where nobody is trained
    for what it is used for. `demand` None: no need of it has a rate."""

    item: int
    needs: Mapping[int, Why]
    quantity: int
    minimum: int
    priority: Criticality
    demand: Probabilities | None = None
    untrained: bool = False


@dataclass(frozen=True)
class LeftOut:
    """A need that nothing is carried for, or an item for it that is passed over (`item`): why, the
    chance that the need comes up on one trip (None: no rate), and the item that serves instead."""

    need: int
    why: WhyNot
    item: int | None = None
    chance: float | None = None
    instead: int | None = None


@dataclass(frozen=True)
class Draft:
    """What a draft carries, in the order of needs, and what it leaves out."""

    lines: Sequence[Line]
    left_out: Sequence[LeftOut]


@dataclass(frozen=True)
class _Pick:
    """An item chosen for a need, over so many participant-days."""

    want: Wanted
    choice: Choice
    days: float
    why: Why


def hazards_of(
    hazards: Iterable[str], season: str | None, hours_to_care: Decimal | None
) -> dict[str, str]:
    """The hazards whose asks bind a profile, each with where it comes from: `ticked`, `season` or
    `hours`. Raises KeyError for a season that is none."""
    found = dict.fromkeys(hazards, "ticked")
    for hazard in SEASON_HAZARDS[season] if season else ():
        found.setdefault(hazard, "season")
    if hours_to_care is not None and hours_to_care >= FAR_FROM_CARE:
        found.setdefault(REMOTE, "hours")
    return found


def draft(
    wanted: Sequence[Wanted],
    group: Group,
    present: Mapping[int, Present],
    levels: Mapping[Criticality, float],
) -> Draft:
    """What to carry for these needs. `present` is the list that the draft starts from, by item, and
    empty for a new one; `levels` is the chance with which a line is to be enough, by priority."""
    picks: dict[int, list[_Pick]] = {}
    left_out: list[LeftOut] = []
    for want in wanted:
        chance = None if want.rate is None else chance_of_any(want.rate, group)
        chosen = _chosen(want, group, present)
        why = _why(want, chosen, chance, present, levels)
        if isinstance(why, WhyNot):
            left_out.append(LeftOut(want.need, why, chance=chance))
            continue
        for choice, days in chosen:
            picks.setdefault(choice.item, []).append(_Pick(want, choice, days, why))
        left_out += [
            LeftOut(want.need, WhyNot.UNTRAINED, other.item, chance, chosen[0][0].item)
            for other in want.choices
            if _untrained(want, other) and not _untrained(want, chosen[0][0])
        ]
    lines = [_line(item, found, present.get(item), levels) for item, found in picks.items()]
    needs = {pick.want.need for found in picks.values() for pick in found}
    lines += _kept(wanted, picks, needs, present)
    carried = {line.item for line in lines}
    served = {need for line in lines for need in line.needs}
    return Draft(
        lines,
        [
            out
            for out in left_out
            if (out.item not in carried if out.item else out.need not in served)
        ],
    )


def chance_of_any(rate: Rate, group: Group) -> float:
    """The chance that a need comes up at all on one trip."""
    once = demands.units_of_use([1.0])
    return quantities.runs_out(demands.demand(rate, group.participant_days, once), 0)


def _untrained(want: Wanted, choice: Choice) -> bool:
    return choice.training and want.trained is False


def _chosen(
    want: Wanted, group: Group, present: Mapping[int, Present]
) -> list[tuple[Choice, float]]:
    """The items for a need, with the participant-days of whom they are for: one that somebody is
    trained for before others, then what matters most on the present list, then the best; another
    for children where there is one."""
    order = sorted(
        want.choices,
        key=lambda each: (
            _untrained(want, each),
            -_place(present.get(each.item)),
            not each.best,
            each.item,
        ),
    )
    for_children = next((each for each in order if each.child), None)
    for_adults = next((each for each in order if not each.child), None)
    one = for_adults or for_children if not group.children else for_children or for_adults
    if one is None:
        return []
    if for_children is None or for_adults is None or group.children in (0, group.people):
        return [(one, group.participant_days)]
    days = group.participant_days * group.children / group.people
    return [(for_adults, group.participant_days - days), (for_children, days)]


def _place(line: Present | None) -> int:
    """How much a line of the present list matters, counted from 1; 0 where there is none."""
    return 0 if line is None else 1 + ORDER.index(line.priority)


def _why(
    want: Wanted,
    chosen: Sequence[tuple[Choice, float]],
    chance: float | None,
    present: Mapping[int, Present],
    levels: Mapping[Criticality, float],
) -> Why | WhyNot:
    """Why something is carried for a need, or why nothing is."""
    if not chosen:
        return WhyNot.NO_ITEM
    priorities = [present[each.item].priority for each in want.choices if each.item in present]
    if want.asked:
        return Why.HAZARD
    if want.life or Criticality.MUST_HAVE in priorities:
        return Why.MUST_HAVE
    if _untrained(want, chosen[0][0]):
        return WhyNot.UNTRAINED
    if want.decided:
        return Why.WHEN
    if chance is None:
        return Why.KEPT if priorities else WhyNot.NO_RATE
    level = levels[max(priorities, key=ORDER.index, default=Criticality.ROUTINE)]
    return Why.LIKELY if chance > 1 - level else WhyNot.RARE


def _line(
    item: int,
    picks: Sequence[_Pick],
    present: Present | None,
    levels: Mapping[Criticality, float],
) -> Line:
    """One line for an item, of all needs that it was chosen for."""
    asked = max(pick.want.asked for pick in picks)
    priority = max(
        present.priority if present else Criticality.ROUTINE,
        Criticality.IMPORTANT if asked else Criticality.ROUTINE,
        Criticality.MUST_HAVE if any(pick.want.life for pick in picks) else Criticality.ROUTINE,
        key=ORDER.index,
    )
    one_use = max(pick.choice.one_use for pick in picks)
    demand = [
        demands.demand(pick.want.rate, pick.days, pick.choice.units)
        for pick in picks
        if pick.want.rate is not None
    ]
    whole = quantities.together(demand) if demand else None
    minimum = max(
        present.minimum if present else 0,
        asked,
        0 if priority is Criticality.ROUTINE else one_use,
    )
    quantity = quantities.proposed(
        whole,
        level=levels[priority],
        minimum=max(minimum, one_use),
        units_per_use=one_use,
        one_use_at_least=True,
    )
    if present and (whole is None or priority is Criticality.MUST_HAVE):
        quantity = max(quantity, present.quantity)
    return Line(
        item,
        {pick.want.need: pick.why for pick in picks},
        quantity,
        minimum,
        priority,
        whole,
        any(_untrained(pick.want, pick.choice) for pick in picks),
    )


def _kept(
    wanted: Sequence[Wanted],
    picked: Collection[int],
    needs: Collection[int],
    present: Mapping[int, Present],
) -> list[Line]:
    """Lines of the present list that stay as they are: must-haves, what serves no need, and what
    serves one (of `needs`) that is carried for by another item too."""
    serves: dict[int, list[int]] = {}
    for want in wanted:
        for choice in want.choices:
            serves.setdefault(choice.item, []).append(want.need)
    return [
        Line(
            item,
            dict.fromkeys(serves.get(item, ()), Why.KEPT),
            line.quantity,
            line.minimum,
            line.priority,
        )
        for item, line in present.items()
        if item not in picked
        and (
            line.priority is Criticality.MUST_HAVE
            or item not in serves
            or not set(serves[item]).isdisjoint(needs)
        )
    ]
