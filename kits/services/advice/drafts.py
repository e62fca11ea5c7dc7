"""The draft of advice: made of what a stranger answered, edited by whoever may send it, and held
against what advice may never say."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from decimal import Decimal
from functools import partial
from typing import Any

from django.conf import settings
from django.utils import translation
from django.utils.translation import gettext as _

from gearroom.core.acts import Invalid, Unacceptable
from kits.models import Activity, HazardNeed, Item, ItemNeed, Need, NeedGroup
from kits.rules.ledger.facts import Kind
from kits.rules.planning import advice as rules, drafting as drafting_rules
from kits.rules.planning.advice import Choice, WhyNothing
from kits.services.planning import drafting
from kits.services.planning.drafting import Profile, Proposal
from kits.services.planning.records.rates import Records, records
from kits.services.text.planning import advice_texts, rate_texts

MOST_REASON, MOST_UNITS, MOST_LINES = 500, 1000, 100
Texts = dict[str, str]
"""A text by language."""


@dataclass(frozen=True)
class Answers:
    """What a stranger answered of their trip. `trained`: the needs (keys) that somebody in the
    group is trained for."""

    people: int
    days: int
    children: int = 0
    season: str = ""
    activity: str = ""
    hazards: Sequence[str] = ()
    hours_to_care: str = "0"
    trained: Sequence[str] = ()

    def as_json(self) -> dict[str, Any]:
        """As they are kept."""
        return {
            name: list(value) if isinstance(value, tuple) else value
            for name, value in asdict(self).items()
        }

    def profile(self) -> Profile:
        """The same as a draft takes it."""
        return Profile(
            people=self.people,
            days=self.days,
            activity=Activity.objects.filter(key=self.activity).first(),
            hazards=list(self.hazards),
            hours_to_care=Decimal(self.hours_to_care),
            children=self.children,
            season=self.season or None,
            trained_for=frozenset(self.trained),
        )


@dataclass(frozen=True)
class Line:
    """An item that the advice carries: how many, and why, in every language."""

    item: int
    quantity: int
    reason: Texts


@dataclass(frozen=True)
class Omitted:
    """An item, or a need (its key), that the advice carries nothing for, and why."""

    reason: Texts
    item: int | None = None
    need: str | None = None


@dataclass(frozen=True)
class Draft:
    """What the advice says. `bound`: the units that the trip must have for a need, by its key;
    `cannot`: those needs for which nothing can be advised."""

    lines: Sequence[Line] = ()
    not_carried: Sequence[Omitted] = ()
    bound: Mapping[str, int] = field(default_factory=dict)
    cannot: Sequence[str] = ()

    def as_json(self) -> dict[str, Any]:
        """As it is kept."""
        return asdict(self)

    @property
    def all_lines(self) -> list[Line | Omitted]:
        """Those that it carries and those that it does not."""
        return [*self.lines, *self.not_carried]

    @classmethod
    def of(cls, kept: Mapping[str, Any]) -> "Draft":
        """What was kept."""
        return cls(
            [Line(**line) for line in kept["lines"]],
            [Omitted(**line) for line in kept["not_carried"]],
            kept["bound"],
            kept["cannot"],
        )


def in_every_language(text: Callable[[], Any]) -> dict[str, Any]:
    """What a function makes, in each language that the program speaks."""
    found = {}
    for language, _name in settings.LANGUAGES:
        with translation.override(language):
            found[language] = text()
    return found


# ------------------------------------------------------------------------------ made of the answers
def make(answers: Answers) -> Draft:
    """The draft for what was answered; the same answers and records always make the same one.
    Raises Invalid for what cannot be."""
    known, profile = records(), answers.profile()
    active = [need for need in known.needs.values() if need.retired_on is None]
    bound = _bound(profile, active)
    why = {need.key: _why_nothing(need, known, answers.trained) for need in active}
    allowed = replace(known, serves=_allowed(known, answers.trained))
    found: dict[str, Proposal] = in_every_language(lambda: drafting.propose(profile, allowed))
    one = next(iter(found.values()))
    lines = [
        Line(
            line.item.pk,
            line.quantity,
            {language: each.lines[n].reason for language, each in found.items()},
        )
        for n, line in enumerate(one.lines)
    ]
    return Draft(
        lines,
        [*_omitted(found, why, bound), *_untrained(known, answers.trained, lines)],
        bound,
        sorted(key for key in bound if why.get(key) is not None),
    )


def _bound(profile: Profile, needs: Sequence[Need]) -> dict[str, int]:
    """The units that a trip must have for a need: what its hazards ask for, and one for whatever
    can threaten a life."""
    binding = drafting_rules.hazards_of(profile.hazards, profile.season, profile.hours_to_care)
    units = {need.key: 1 for need in needs if need.group == NeedGroup.SEVERE}
    for ask in HazardNeed.objects.filter(hazard__in=binding).select_related("need"):
        if ask.need.retired_on is None:
            units[ask.need.key] = max(ask.units, units.get(ask.need.key, 0))
    return units


def _choice(row: ItemNeed) -> Choice:
    return Choice(row.item_id, row.item.kind == Kind.MEDICINE, row.needs_training)


def _rows(need: Need, known: Records) -> list[ItemNeed]:
    """What serves a need, of what is still used."""
    rows = known.serves.get(need.pk, {}).values()
    return [row for row in rows if row.item.retired_on is None]


def _why_nothing(need: Need, known: Records, trained: Sequence[str]) -> WhyNothing | None:
    choices = [_choice(row) for row in _rows(need, known)]
    return rules.why_nothing(choices, trained=need.key in trained)


def _allowed(known: Records, trained: Sequence[str]) -> dict[int, dict[int, ItemNeed]]:
    """What serves needs, of what advice may name to this group."""
    return {
        need: {
            item: row
            for item, row in rows.items()
            if rules.may_be_advised(_choice(row), trained=known.needs[need].key in trained)
        }
        for need, rows in known.serves.items()
    }


def _omitted(
    found: Mapping[str, Proposal], why: Mapping[str, WhyNothing | None], bound: Mapping[str, int]
) -> list[Omitted]:
    """The needs that nothing is carried for, with the reason in every language."""
    omitted = []
    one = next(iter(found.values()))
    for n, line in enumerate(one.not_carried):
        if line.need is None:
            continue
        key = line.need.key
        because = why.get(key)
        if because is not None:
            text = partial(advice_texts.nothing, because, must=key in bound)
            reason = in_every_language(text)
        elif line.key in one.undecided:
            reason = in_every_language(advice_texts.no_rate)
        else:
            reason = {language: each.not_carried[n].words for language, each in found.items()}
        omitted.append(Omitted(reason, need=key))
    return omitted


def _untrained(known: Records, trained: Sequence[str], lines: Sequence[Line]) -> list[Omitted]:
    """Items that another stands in for, since nobody is trained to use them."""
    carried = {line.item for line in lines}
    omitted: dict[int, Omitted] = {}
    for pk, rows in known.serves.items():
        need = known.needs[pk]
        if need.key in trained or not carried & set(rows):
            continue
        for row in _rows(need, known):
            if row.needs_training and row.item.kind != Kind.MEDICINE and row.item_id not in carried:
                text = partial(advice_texts.untrained_item, need.name)
                omitted[row.item_id] = Omitted(in_every_language(text), item=row.item_id)
    return [omitted[item] for item in sorted(omitted)]


# ------------------------------------------------------------------------------ what it may not say
def check(draft: Draft, trained: Sequence[str]) -> None:
    """Raise a problem for what advice may not say: Invalid for what is not whole, Unacceptable
    (`names-a-medicine`, `names-a-dose`, `needs-training`, `must-have-left-out`)."""
    carried = [line.item for line in draft.lines]
    left_out = [line.item for line in draft.not_carried if line.item]
    items = Item.objects.in_bulk([*carried, *left_out])
    _refuse_what_is_not_whole(draft, items)
    medicines = sorted(Item.objects.filter(kind=Kind.MEDICINE.value).values_list("name", flat=True))
    for item in items.values():
        if item.kind == Kind.MEDICINE:
            raise _medicine(item.name)
    for texts in [line.reason for line in draft.all_lines]:
        for text in texts.values():
            _refuse_text(text, medicines)
    _refuse_untrained(carried, items, trained)
    _refuse_left_open(draft)


def _refuse_what_is_not_whole(draft: Draft, items: Mapping[int, Item]) -> None:
    if len(draft.lines) > MOST_LINES or len(draft.not_carried) > MOST_LINES:
        raise Invalid(_("Advice can have at most %(most)d lines.") % {"most": MOST_LINES})
    named: set[object] = set()
    for line in draft.all_lines:
        which = line.item or getattr(line, "need", None)
        if which is None or (line.item and line.item not in items):
            raise Invalid(_("Choose an item or a need from the list."))
        name = items[line.item].name if line.item else str(which)
        if which in named:
            raise Invalid(_("%(name)s is listed twice. Remove one of the two.") % {"name": name})
        named.add(which)
        for language, _name in settings.LANGUAGES:
            if not 0 < len(line.reason.get(language, "")) <= MOST_REASON:
                raise Invalid(
                    _(
                        "%(name)s: enter the reason in every language, each with at most "
                        "%(most)d characters."
                    )
                    % {"name": name, "most": MOST_REASON}
                )
    for each in draft.lines:
        if not 1 <= each.quantity <= MOST_UNITS:
            raise Invalid(
                _("%(name)s: enter how many, from 1 to %(most)d.")
                % {"name": items[each.item].name, "most": MOST_UNITS}
            )


def _refuse_text(text: str, medicines: Sequence[str]) -> None:
    if rules.has_dose(text):
        raise Unacceptable(
            "names-a-dose",
            _("“%(text)s” looks like a dose. Advice never gives doses: remove the amount.")
            % {"text": text},
        )
    if (name := rules.medicine_in(text, medicines)) is not None:
        raise _medicine(name)


def _medicine(name: str) -> Unacceptable:
    return Unacceptable(
        "names-a-medicine",
        _("“%(name)s” is a medicine. Advice never includes medicines: remove it.") % {"name": name},
    )


def _refuse_untrained(
    carried: Sequence[int], items: Mapping[int, Item], trained: Sequence[str]
) -> None:
    serves: dict[int, list[bool]] = defaultdict(list)
    for row in ItemNeed.objects.filter(item__in=carried).select_related("item", "need"):
        may = rules.may_be_advised(_choice(row), trained=row.need.key in trained)
        serves[row.item_id].append(may)
    for item in carried:
        if serves[item] and not any(serves[item]):
            raise Unacceptable(
                "needs-training",
                _(
                    "Nobody in the group is trained to use %(item)s. Choose something else, or "
                    "write under “not carried” that somebody has to be trained."
                )
                % {"item": items[item].name},
            )


def _refuse_left_open(draft: Draft) -> None:
    units = {line.item: line.quantity for line in draft.lines}
    carried: dict[str, int] = defaultdict(int)
    for item, need in ItemNeed.objects.filter(item__in=units).values_list("item", "need__key"):
        carried[need] += units[item]
    left = rules.left_open(
        draft.bound,
        carried=carried,
        not_carried={line.need for line in draft.not_carried if line.need},
        cannot=draft.cannot,
    )
    if left:
        names = dict(Need.objects.filter(key__in=left).values_list("key", "name"))
        raise Unacceptable(
            "must-have-left-out",
            _(
                "This trip must have something for these: %(needs)s. Carry at least the number "
                "shown."
            )
            % {
                "needs": ", ".join(
                    f"{rate_texts.word(names[key])} ({units})" for key, units in left.items()
                )
            },
            needs=list(left),
        )
