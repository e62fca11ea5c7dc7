"""What advice for others says: the questions, why something is not carried, what it weighs and
costs, on what it rests, and the statement that stands on every answer in full."""

from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal

from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from gearroom.core.role_names import ROLE_NAMES
from gearroom.core.rules.roles import Role
from kits.rules.planning.advice import State, WhyNothing
from kits.rules.planning.records.studies import Study
from kits.services.text import wording
from kits.services.text.planning import rate_texts
from kits.services.text.planning.planning_texts import money, number, people_and_days

STATEMENT = _lazy(
    "This is what we would pack for the trip you described, from our own records and the sources "
    "listed. We have not seen your group, kit or training. It is not medical advice and does not "
    "replace your risk assessment, medical adviser or local law. Carry only what someone in your "
    "group is trained and allowed to use."
)
"""Stands on every answer, in full."""
CAUTION = _lazy(
    "What your group carries, and who may use it, is decided by your own medical adviser, "
    "protocols, local law and each person’s training. This is arithmetic on our own records; it "
    "never says that anything should be left out."
)
"""Of planning, as it is said to somebody outside: the records are ours, not theirs."""
NO_MEDICINES = _lazy(
    "We recommend no medicines and give no doses. Ask your own medical adviser, and have "
    "everybody bring what they need for themselves."
)
DUTY = _lazy(
    "No wording removes a duty of care: whoever sends this may still have to answer for it. Ask "
    "your insurer whether you are covered for giving advice before you send it."
)
"""Whoever sends an answer is told so first, and confirms it."""
SEASONS: Mapping[str, Promise] = {
    "spring": _lazy("spring"),
    "summer": _lazy("summer"),
    "autumn": _lazy("autumn"),
    "winter": _lazy("winter"),
}
HEADINGS: Mapping[str, Promise] = {
    "trip": _lazy("The trip you described"),
    "carry": _lazy("What we would carry"),
    "item": _lazy("Item"),
    "units": _lazy("How many"),
    "why": _lazy("Why"),
    "not_carried": _lazy("What is not included, and why"),
    "weight": _lazy("What it weighs"),
    "cost": _lazy("What it costs"),
    "sources": _lazy("What this is based on"),
}
STATES: Mapping[State, Promise] = {
    State.WAITING: _lazy("waiting for answers"),
    State.DRAFT: _lazy("draft"),
    State.SENT: _lazy("sent"),
    State.WITHDRAWN: _lazy("withdrawn"),
}
QUESTIONS: Mapping[str, Promise] = {
    "people": _lazy("People"),
    "children": _lazy("How many are children"),
    "days": _lazy("Days"),
    "season": _lazy("Time of year"),
    "activity": _lazy("Activity"),
    "hazards": _lazy("Hazards"),
    "hours": _lazy("Hours to a hospital or doctor"),
    "trained": _lazy("Somebody in the group is trained and allowed to treat"),
}


def title(people: int, days: int, activity: str = "") -> str:
    """What the answer is called."""
    facts = {**people_and_days(people, days), "activity": activity}
    if activity:
        return _("What to carry: %(people)s, %(days)s, %(activity)s") % facts
    return _("What to carry: %(people)s, %(days)s") % facts


def none() -> str:
    """Of a question that was answered with nothing."""
    return _("none")


# ------------------------------------------------------------------------ why nothing is carried
_NOTHING: Mapping[tuple[WhyNothing, bool], Promise] = {
    (WhyNothing.MEDICINE, True): _lazy(
        "This trip must have something for this, but we carry only medicines for it, and we "
        "never recommend medicines. Do not go without: ask your medical adviser what to carry."
    ),
    (WhyNothing.MEDICINE, False): _lazy(
        "We carry only medicines for this, and we never recommend medicines. Ask your medical "
        "adviser."
    ),
    (WhyNothing.UNTRAINED, True): _lazy(
        "This trip must have something for this, but nobody in your group is trained to use "
        "what we carry for it. Do not go without: have somebody trained first, or take "
        "somebody who is."
    ),
    (WhyNothing.UNTRAINED, False): _lazy(
        "Nobody in your group is trained to use what we carry for this."
    ),
    (WhyNothing.NO_ITEM, True): _lazy(
        "This trip must have something for this, but we have nothing to suggest. Do not go "
        "without: ask your medical adviser what to carry."
    ),
    (WhyNothing.NO_ITEM, False): _lazy(
        "We have nothing to suggest for this. Ask your medical adviser."
    ),
}


def nothing(why: WhyNothing, *, must: bool) -> str:
    """Why nothing is carried for a need; `must`: the trip must have something for it."""
    return str(_NOTHING[why, must])


def untrained_item(need: str) -> str:
    """Why an item is not carried though another for the same need is."""
    return _(
        "Nobody in your group is trained to use this item. For “%(need)s” we carry something else."
    ) % {"need": rate_texts.word(need)}


def no_rate() -> str:
    """Of a need that nothing is known of."""
    return _(
        "We do not know how often this comes up, so we cannot say whether to carry something "
        "for it. Decide for yourselves."
    )


# ----------------------------------------------------------------------------- weight, cost, basis
def weight(grams: int, unknown: int) -> str:
    """What all of it weighs; `unknown`: items without a weight."""
    facts = {"g": number(grams), "n": unknown}
    if not unknown:
        return _("%(g)s g") % facts
    return (
        ngettext(
            "At least %(g)s g: we have no weight for %(n)d item.",
            "At least %(g)s g: we have no weight for %(n)d items.",
            unknown,
        )
        % facts
    )


def cost(sums: Mapping[str, Decimal], unknown: int) -> str:
    """What all of it costs to buy, by currency; `unknown`: items without a price."""
    if not sums:
        return _("We have no prices on record.")
    amount = ", ".join(money(total, currency) for currency, total in sorted(sums.items()))
    facts = {"money": amount, "n": unknown}
    if not unknown:
        return _("%(money)s, at the prices we last paid.") % facts
    return (
        ngettext(
            "At least %(money)s, at the prices we last paid: we have no price for %(n)d item.",
            "At least %(money)s, at the prices we last paid: we have no price for %(n)d items.",
            unknown,
        )
        % facts
    )


def own_records(trips: int, such: int, activity: str) -> str:
    """On how many trips of our own it rests, and how many of them had the same activity (its name;
    empty: none was chosen)."""
    if not trips:
        return _("We have no records of our own trips yet.")
    said = ngettext("Our own records of %(n)s trip.", "Our own records of %(n)s trips.", trips) % {
        "n": number(trips)
    }
    if not activity:
        return said
    if not such:
        return f"{said} " + _("None of them was for “%(activity)s”.") % {"activity": activity}
    return f"{said} " + ngettext(
        "%(n)s of them was for “%(activity)s”.", "%(n)s of them were for “%(activity)s”.", such
    ) % {"n": number(such), "activity": activity}


def participant_days() -> str:
    """What a word of the reasons means."""
    return _("A participant-day is one person out for one day.")


def adviser_rates() -> str:
    """That some rates are what a medical adviser believes."""
    return _("How often some needs come up, in our medical adviser’s judgement.")


def hazard_asks() -> str:
    """That some lines are there because a hazard asks for them."""
    return _("What we require of every kit for the hazards of the trip.")


def study(of: Study) -> str:
    """A study that a rate is taken from."""
    facts = {"authors": of.authors, "year": str(of.year), "where": of.published, "doi": of.doi}
    if of.doi:
        return _("%(authors)s, %(year)s: %(where)s, doi:%(doi)s") % facts
    return _("%(authors)s, %(year)s: %(where)s") % facts


def not_after(day: date) -> str:
    """Until when it counts."""
    return _("Do not use for trips after %(day)s.") % {"day": wording.day(day)}


def answered_by(roles: Iterable[Role]) -> str:
    """What whoever sends it is here. Their name is not said."""
    return _("Answered by: %(roles)s.") % {
        "roles": ", ".join(str(ROLE_NAMES[each]) for each in roles)
    }


def sent_on(day: date | None, number_of: int) -> str:
    """When it was sent (None: not yet), and whether it takes the place of another."""
    if day is None:
        return _("Not sent yet.")
    facts = {"day": wording.day(day)}
    if number_of == 1:
        return _("Sent on %(day)s.") % facts
    return _("Sent on %(day)s. This answer replaces every earlier one.") % facts
