"""A draft list for a trip that somebody describes: lines with reasons, and lines not carried with
reasons, from needs, what hazards ask for, our records and the list that it starts from."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from django.utils.translation import gettext as _

from gearroom.core.acts import Invalid
from kits.models import Activity, HazardNeed, Item, ItemNeed, Need, NeedGroup, PackingListVersion
from kits.rules.ledger.facts import Criticality
from kits.rules.lists.carried_when import Occasion, meets, occasion
from kits.rules.planning import demand as demands, drafting as rules
from kits.rules.planning.drafting import Group, LeftOut, Present, Why, WhyNot
from kits.rules.planning.records import units_per_use
from kits.rules.text.hazards import hazards
from kits.services.lists import drafts
from kits.services.lists.drafts import Draft, LineDraft
from kits.services.lists.not_carried import NotCarriedDraft
from kits.services.planning.plans import SERVICE_LEVELS, sizes_of_use
from kits.services.planning.records.rates import NeedRate, Records, records
from kits.services.text.planning import draft_texts, rate_texts
from kits.services.text.wording import as_invalid


@dataclass(frozen=True)
class Profile:
    """The trip that a list is drafted for. `trained_for`: the needs (keys) that somebody in the
    group is trained for, None: not said. `like`: the version that the draft starts from."""

    people: int
    days: int
    activity: Activity | None = None
    hazards: Sequence[str] = ()
    hours_to_care: Decimal | None = None
    children: int = 0
    season: str | None = None
    trained_for: frozenset[str] | None = None
    like: PackingListVersion | None = None


@dataclass(frozen=True)
class DraftedLine:
    """An item that is carried: for which needs and at which rates, how many, and why; `was`: how
    many the list that the draft starts from carries."""

    item: Item
    rates: Sequence[NeedRate]
    quantity: int
    minimum: int
    priority: Criticality
    reason: str
    was: int | None = None
    untrained: bool = False

    @property
    def needs(self) -> list[Need]:
        """What it is carried for."""
        return [rate.need for rate in self.rates]


@dataclass(frozen=True)
class DraftedSection:
    """A section with its lines: one of the list that the draft starts from, or (no `key`) one that
    is named after what its items are for."""

    name: str
    lines: Sequence[DraftedLine]
    key: str = ""
    outside: bool = False


@dataclass(frozen=True)
class Proposal:
    """What a draft comes to: sections, lines not carried, and the items of the list that it starts
    from which it no longer carries. `hazards`: what was ticked, with what the season and the way to
    care bring. `undecided`: lines not carried (keys) of which too little is known to say more."""

    profile: Profile
    hazards: Sequence[str]
    sections: Sequence[DraftedSection]
    not_carried: Sequence[NotCarriedDraft]
    undecided: frozenset[str]
    dropped: Sequence[Item]

    @property
    def lines(self) -> list[DraftedLine]:
        """All that is carried."""
        return [line for section in self.sections for line in section.lines]


@dataclass(frozen=True)
class _Facts:
    """What a draft is made from: needs with their rates, what hazards ask for each (with where the
    hazard comes from), the lines of the list that it starts from, what that leaves out and when it
    carries that all the same."""

    profile: Profile
    known: Records
    needs: Mapping[int, Need]
    rates: Mapping[int, NeedRate]
    binding: Mapping[str, str]
    asks: Mapping[int, Sequence[HazardNeed]]
    present: Draft | None
    when: Occasion
    sizes: Mapping[int, Mapping[int, int]]

    @property
    def group(self) -> Group:
        """Who goes."""
        return Group(self.profile.people, self.profile.days, self.profile.children)

    @property
    def lines(self) -> dict[int, LineDraft]:
        """The lines of the list that it starts from, by item; one in two sections is one line. What
        is retired is not put on a new list."""
        found: dict[int, LineDraft] = {}
        sections = self.present.sections if self.present else ()
        for line in (line for section in sections for line in section.lines):
            if line.item.retired_on is not None:
                continue
            if (other := found.get(line.item.pk)) is not None:
                line = replace(
                    line,
                    carry=line.carry + other.carry,
                    never_below=line.never_below + other.never_below,
                    criticality=max(line.criticality, other.criticality, key=rules.ORDER.index),
                )
            found[line.item.pk] = line
        return found


def propose(profile: Profile, known: Records | None = None) -> Proposal:
    """Draft a list for a profile: always the same for the same records. Raises Invalid for more
    children than people, and for hazards and needs that nobody knows."""
    facts = _facts(profile, known or records())
    lines = facts.lines
    found = rules.draft(
        [_wanted(need, facts) for need in facts.needs.values()],
        facts.group,
        {
            item: Present(line.carry, line.never_below, line.criticality)
            for item, line in lines.items()
        },
        SERVICE_LEVELS,
    )
    items = {row.item_id: row.item for rows in facts.known.serves.values() for row in rows.values()}
    items |= {item: line.item for item, line in lines.items()}
    not_carried, undecided = _not_carried(found, facts, items)
    return Proposal(
        profile,
        hazards(facts.binding),
        _sections([_line(line, facts, items, lines) for line in found.lines], facts.present),
        not_carried,
        undecided,
        _dropped(found, facts.present),
    )


def trainable() -> list[Need]:
    """The needs for which something is carried that only somebody trained uses."""
    asking = ItemNeed.objects.filter(needs_training=True, item__retired_on=None)
    return list(Need.objects.active().filter(pk__in=asking.values("need")))


def _facts(profile: Profile, known: Records) -> _Facts:
    if profile.children > profile.people:
        raise Invalid(_("There cannot be more children than people."), field="children")
    with as_invalid("hazards"):
        ticked = hazards(profile.hazards)
    needs = {pk: need for pk, need in known.needs.items() if need.retired_on is None}
    if unknown := (profile.trained_for or frozenset()) - {need.key for need in needs.values()}:
        raise Invalid(
            _("There is no need “%(need)s”.") % {"need": min(unknown)}, field="trained_for"
        )
    binding = rules.hazards_of(ticked, profile.season, profile.hours_to_care)
    asks: dict[int, list[HazardNeed]] = defaultdict(list)
    for ask in HazardNeed.objects.filter(hazard__in=binding).order_by("hazard"):
        asks[ask.need_id].append(ask)
    return _Facts(
        profile,
        known,
        needs,
        {pk: known.rate_in(need, profile.activity) for pk, need in needs.items()},
        binding,
        asks,
        drafts.draft_of(profile.like) if profile.like else None,
        occasion(
            binding, [profile.activity.key] if profile.activity else (), profile.hours_to_care
        ),
        sizes_of_use(known),
    )


def _wanted(need: Need, facts: _Facts) -> rules.Wanted:
    """A need as the rule looks at it."""
    serving = {
        item: row
        for item, row in sorted(facts.known.serves.get(need.pk, {}).items())
        if row.item.retired_on is None
    }
    trained = facts.profile.trained_for
    return rules.Wanted(
        need.pk,
        facts.rates[need.pk].rate,
        [
            rules.Choice(
                item,
                best=row.best,
                units=demands.units_of_use(
                    units_per_use.chances(row.units_per_use, facts.sizes.get(item, {}))
                ),
                training=row.needs_training,
                child=row.item.child,
            )
            for item, row in serving.items()
        ],
        asked=max((ask.units for ask in facts.asks.get(need.pk, ())), default=0),
        life=need.group == NeedGroup.SEVERE,
        trained=None if trained is None else need.key in trained,
        decided=_carried_when(need, serving, facts) is not None,
    )


def _carried_when(
    need: Need, serving: Mapping[int, object], facts: _Facts
) -> NotCarriedDraft | None:
    """The line of what the list leaves out by which a need is carried for on such a trip."""
    for line in facts.present.not_carried if facts.present else ():
        if (line.need == need or (line.item and line.item.pk in serving)) and meets(
            facts.when, occasion(*line.when)
        ):
            return line
    return None


# --------------------------------------------------------------------- what becomes of which list
def _sections(lines: Sequence[DraftedLine], present: Draft | None) -> list[DraftedSection]:
    """Each item in the section where it was, and a new one in the section that is named after its
    first need's group."""
    rows = {line.item.pk: line for line in lines}
    sections = [
        DraftedSection(
            section.name,
            [rows.pop(line.item.pk) for line in section.lines if line.item.pk in rows],
            section.key,
            section.outside,
        )
        for section in (present.sections if present else ())
    ]
    named = {section.name.casefold(): at for at, section in enumerate(sections)}
    for line in rows.values():
        name = rate_texts.group(line.needs[0].group)
        at = named.setdefault(name.casefold(), len(sections))
        if at == len(sections):
            sections.append(DraftedSection(name, []))
        sections[at] = replace(sections[at], lines=[*sections[at].lines, line])
    return [section for section in sections if section.lines]


def _not_carried(
    found: rules.Draft, facts: _Facts, items: Mapping[int, Item]
) -> tuple[list[NotCarriedDraft], frozenset[str]]:
    """What the list leaves out already, unless it is carried now, and what is new; with the new
    lines (keys) of which too little is known."""
    carried = {line.item for line in found.lines}
    served = {need for line in found.lines for need in line.needs}
    decided = [
        line
        for line in (facts.present.not_carried if facts.present else ())
        if (line.item and line.item.pk not in carried) or (line.need and line.need.pk not in served)
    ]
    keys = {line.key for line in decided}
    new = [(out.why, _left_out(out, facts, items)) for out in found.left_out]
    new = [(why, line) for why, line in new if line.key not in keys]
    unknown = (WhyNot.NO_ITEM, WhyNot.NO_RATE)
    return (
        [*decided, *(line for _why, line in new)],
        frozenset(line.key for why, line in new if why in unknown),
    )


def _dropped(found: rules.Draft, present: Draft | None) -> list[Item]:
    """The items that the list carries and the draft doesn't."""
    carried = {line.item for line in found.lines}
    lines = [line for section in (present.sections if present else ()) for line in section.lines]
    return list(dict.fromkeys(line.item for line in lines if line.item.pk not in carried))


# --------------------------------------------------------------------------------------- in words
def _line(
    line: rules.Line,
    facts: _Facts,
    items: Mapping[int, Item],
    lines: Mapping[int, LineDraft],
) -> DraftedLine:
    present = lines.get(line.item)
    says = [says for need, why in line.needs.items() for says in _why(need, why, facts)]
    if present and not says:
        says = [present.reason or draft_texts.kept(facts.profile.like)]
    elif present and present.reason and set(line.needs.values()) <= {Why.MUST_HAVE, Why.KEPT}:
        says = [present.reason]
    return DraftedLine(
        items[line.item],
        [facts.rates[need] for need in line.needs],
        line.quantity,
        line.minimum,
        line.priority,
        draft_texts.reason(says, untrained=line.untrained),
        present.carry if present else None,
        line.untrained,
    )


def _why(need: int, why: Why, facts: _Facts) -> list[str]:
    """Why an item is carried for a need, in sentences; none where it stays as it was."""
    name, rate = facts.needs[need].name, facts.rates[need].rate
    match why:
        case Why.HAZARD:
            return [
                draft_texts.asked(name, ask.hazard, ask.reason, facts.binding[ask.hazard])
                for ask in facts.asks[need]
            ]
        case Why.MUST_HAVE:
            life = facts.needs[need].group == NeedGroup.SEVERE
            return [draft_texts.must_have(name, life=life)]
        case Why.LIKELY if rate is not None:
            chance = rules.chance_of_any(rate, facts.group)
            return [draft_texts.likely(name, chance, _known(need, facts))]
        case Why.WHEN:
            return [draft_texts.carried_when(name)]
        case _:
            return []


def _known(need: int, facts: _Facts) -> draft_texts.Known:
    """What our records say of a need: of the activity, or where there is nothing, of all trips."""
    activity = facts.profile.activity
    own = facts.known.recorded(need, activity.key if activity else None).closed()
    cell = own if own.exposure else facts.known.recorded(need).closed()
    return draft_texts.Known(
        cell.least,
        cell.exposure,
        at_least=cell.open_ended,
        everywhere=activity is not None and not own.exposure,
        stated=facts.rates[need].prior is not None,
    )


def _left_out(out: LeftOut, facts: _Facts, items: Mapping[int, Item]) -> NotCarriedDraft:
    """A line of what the draft leaves out. Nobody has decided it yet."""
    why, words = draft_texts.left_out(
        out.why,
        facts.needs[out.need].name,
        out.chance,
        _known(out.need, facts),
        ever=facts.known.recorded(out.need).closed().least > 0,
    )
    return NotCarriedDraft(
        why,
        item=items[out.item] if out.item else None,
        need=None if out.item else facts.needs[out.need],
        words=words,
        instead=items[out.instead].name if out.instead else "",
    )
