"""All that an answer says, in every language: kept when it is sent, and shown by its link."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils import translation
from django.utils.formats import number_format

from gearroom.core.acts import Actor
from gearroom.core.rules.roles import Role
from kits.models import Activity, Advice, HazardNeed, Item, ItemNeed, Need, RateSource, StatedRate
from kits.rules.planning import drafting as drafting_rules
from kits.rules.planning.advice import State
from kits.rules.planning.records.studies import STUDIES
from kits.services.advice import access, register
from kits.services.advice.drafts import Answers, Draft, Line, Omitted, in_every_language
from kits.services.planning.plans import Purchase, purchases
from kits.services.planning.records.rates import Records, records
from kits.services.text import wording
from kits.services.text.planning import advice_texts as texts, planning_texts, rate_texts


@dataclass(frozen=True)
class _Facts:
    """What every language says of a draft, loaded once."""

    answers: Answers
    draft: Draft
    answered_by: Sequence[Role]
    items: Mapping[int, Item]
    needs: Mapping[str, Need]
    activity: Activity | None
    bought: Mapping[int, Purchase]
    known: Records
    stated: Sequence[StatedRate]
    hazards_ask: bool


@dataclass(frozen=True)
class Whole:
    """One piece of advice with its draft, and the page that its link shows in the language of now;
    None where nothing was sent, or it was withdrawn."""

    advice: Advice
    page: dict[str, Any] | None

    @property
    def trip(self) -> dict[str, Any] | None:
        """What was answered of the trip."""
        return self.advice.answers

    @property
    def lines(self) -> Sequence[Line]:
        """What its draft carries."""
        return Draft.of(self.advice.draft).lines if self.advice.draft else ()

    @property
    def not_carried(self) -> Sequence[Omitted]:
        """What its draft does not carry."""
        return Draft.of(self.advice.draft).not_carried if self.advice.draft else ()


def whole(advice: Advice) -> Whole:
    """One piece of advice with all that it says."""
    is_sent = register.state_of(advice) is State.SENT
    copy = register.latest_copy(advice) if is_sent else None
    return Whole(advice, page_of(copy.text, translation.get_language()) if copy else None)


def make(
    answers: Answers, draft: Draft, by: Actor, *, number: int, sent_on: date, not_after: date
) -> dict[str, Any]:
    """The document: by language all that the page shows, and beside it the answers and the draft
    that it was made of. `by`: who sends it."""
    facts = _facts(answers, draft, by)
    return {
        "number": number,
        "sent_on": sent_on.isoformat(),
        "not_after": not_after.isoformat(),
        "answers": answers.as_json(),
        "draft": draft.as_json(),
        "languages": in_every_language(lambda: _page(facts, number, sent_on, not_after)),
    }


def preview(answers: Answers, draft: Draft, by: Actor, *, not_after: date) -> dict[str, Any]:
    """The page that would be sent, in the language of now."""
    return _page(_facts(answers, draft, by), 1, None, not_after)


def described(answers: Answers) -> list[tuple[str, str]]:
    """What was answered, question by question, in the language of now."""
    activity = Activity.objects.filter(key=answers.activity).first()
    names = dict(Need.objects.filter(key__in=answers.trained).values_list("key", "name"))
    return _trip(answers, activity, names)


def title(answers: Answers) -> str:
    """What the answer is called, in the language of now."""
    activity = Activity.objects.filter(key=answers.activity).first()
    return texts.title(
        answers.people, answers.days, rate_texts.word(activity.name) if activity else ""
    )


def page_of(document: Mapping[str, Any], language: str | None) -> dict[str, Any]:
    """The page of a document in a language, or in the first that it has."""
    languages: dict[str, dict[str, Any]] = document["languages"]
    return languages.get(language or "") or next(iter(languages.values()))


def _facts(answers: Answers, draft: Draft, by: Actor) -> _Facts:
    carried = [line.item for line in draft.lines]
    known = records()
    profile = answers.profile()
    left_out = [line.need for line in draft.not_carried if line.need]
    serving = ItemNeed.objects.filter(item__in=carried).values_list("need", flat=True)
    named = [need.pk for need in known.needs.values() if need.key in left_out]
    activity = profile.activity.pk if profile.activity else None
    stated = [known.statement(need, activity) for need in sorted({*serving, *named})]
    binding = drafting_rules.hazards_of(profile.hazards, profile.season, profile.hours_to_care)
    omitted = [line.item for line in draft.not_carried if line.item]
    return _Facts(
        answers,
        draft,
        access.roles_of_sender(by),
        Item.objects.in_bulk([*carried, *omitted]),
        {need.key: need for need in known.needs.values()},
        profile.activity,
        purchases(carried),
        known,
        [each for each in stated if each is not None and each.per_1000 is not None],
        HazardNeed.objects.filter(hazard__in=binding, need__in=serving).exists(),
    )


def _page(of: _Facts, number: int, sent_on: date | None, not_after: date) -> dict[str, Any]:
    """What the page says, in the language of now."""
    activity = rate_texts.word(of.activity.name) if of.activity else ""
    return {
        "language": translation.get_language(),
        "title": texts.title(of.answers.people, of.answers.days, activity),
        "headings": {name: str(text) for name, text in texts.HEADINGS.items()},
        "sent": texts.sent_on(sent_on, number),
        "answered_by": texts.answered_by(of.answered_by),
        "not_after": texts.not_after(not_after),
        "statement": str(texts.STATEMENT),
        "trip": [
            list(row)
            for row in _trip(
                of.answers, of.activity, {key: need.name for key, need in of.needs.items()}
            )
        ],
        "lines": [
            {
                "name": of.items[line.item].name,
                "quantity": line.quantity,
                "reason": line.reason[translation.get_language() or ""],
            }
            for line in of.draft.lines
        ],
        "not_carried": _not_carried(of),
        "no_medicines": str(texts.NO_MEDICINES),
        "weight": _weight(of),
        "cost": _cost(of),
        "sources": _sources(of),
        "caution": str(texts.CAUTION),
    }


def _not_carried(of: _Facts) -> list[dict[str, Any]]:
    """What is not carried, by reason: what has the same stands together."""
    language = translation.get_language() or ""
    named: dict[str, list[str]] = defaultdict(list)
    for line in of.draft.not_carried:
        need = of.needs[line.need].name if line.need else ""
        name = of.items[line.item].name if line.item else rate_texts.word(need)
        named[line.reason[language]].append(name)
    return [{"name": ", ".join(names), "reason": reason} for reason, names in named.items()]


def _trip(
    answers: Answers, activity: Activity | None, needs: Mapping[str, str]
) -> list[tuple[str, str]]:
    values = {
        "people": planning_texts.number(answers.people),
        "children": planning_texts.number(answers.children),
        "days": planning_texts.number(answers.days),
        "season": str(texts.SEASONS[answers.season]) if answers.season else texts.none(),
        "activity": rate_texts.word(activity.name) if activity else texts.none(),
        "hazards": ", ".join(wording.hazards(answers.hazards)) or texts.none(),
        "hours": number_format(Decimal(answers.hours_to_care)),
        "trained": ", ".join(rate_texts.word(needs[key]) for key in answers.trained if key in needs)
        or texts.none(),
    }
    return [(str(label), values[name]) for name, label in texts.QUESTIONS.items()]


def _weight(of: _Facts) -> str:
    masses = [(of.items[line.item].mass_g, line.quantity) for line in of.draft.lines]
    return texts.weight(
        sum(mass * units for mass, units in masses if mass is not None),
        sum(mass is None for mass, _units in masses),
    )


def _cost(of: _Facts) -> str:
    sums: dict[str, Decimal] = defaultdict(Decimal)
    unknown = 0
    for line in of.draft.lines:
        bought = of.bought.get(line.item, Purchase())
        if bought.price is None:
            unknown += 1
        else:
            sums[bought.currency] += bought.price * line.quantity
    return texts.cost(sums, unknown)


def _sources(of: _Facts) -> list[str]:
    """On what it rests: our own trips, what hazards ask for, what was published, what the adviser
    believes."""
    trips = {trip.trip.pk: trip.trip for trip in of.known.trips if trip.counts}
    found = [
        texts.own_records(
            len(trips),
            sum(
                of.activity is not None and each.activity_id == of.activity.pk
                for each in trips.values()
            ),
            rate_texts.word(of.activity.name) if of.activity else "",
        ),
        texts.participant_days(),
    ]
    if of.hazards_ask:
        found.append(texts.hazard_asks())
    if any(each.source == RateSource.ADVISER for each in of.stated):
        found.append(texts.adviser_rates())
    cited = {each.study for each in of.stated if each.source == RateSource.STUDY}
    return found + [texts.study(study) for study in STUDIES if study.key in cited]
