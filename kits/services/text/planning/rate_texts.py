"""What is said of how often needs come up: what was recorded, stated, published and is believed.

A sentence says no more than its numbers can bear.
"""

from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.models import NeedGroup, RateSource, StatedRate
from kits.rules.planning.records.recorded_use import SHOWN_FROM, Bears, RecordedUse
from kits.rules.planning.records.studies import STUDIES
from kits.services.text.planning.planning_texts import number, times

_WORDS: dict[str, Promise] = {
    "small wound": _lazy("small wound"),
    "large wound": _lazy("large wound"),
    "wound to be cleaned": _lazy("wound to be cleaned"),
    "nosebleed": _lazy("nosebleed"),
    "something in an eye": _lazy("something in an eye"),
    "burn or scald": _lazy("burn or scald"),
    "splinter": _lazy("splinter"),
    "severe bleeding from a limb": _lazy("severe bleeding from a limb"),
    "not breathing": _lazy("not breathing"),
    "possible spinal injury": _lazy("possible spinal injury"),
    "blister": _lazy("blister"),
    "chafed or sore skin": _lazy("chafed or sore skin"),
    "sunburn": _lazy("sunburn"),
    "sprain or strain": _lazy("sprain or strain"),
    "broken bone": _lazy("broken bone"),
    "arm to be held still": _lazy("arm to be held still"),
    "headache or other pain": _lazy("headache or other pain"),
    "vomiting or diarrhoea": _lazy("vomiting or diarrhoea"),
    "low blood sugar": _lazy("low blood sugar"),
    "period": _lazy("period"),
    "sting or insect bite": _lazy("sting or insect bite"),
    "tick": _lazy("tick"),
    "severe allergic reaction": _lazy("severe allergic reaction"),
    "cold and wet person": _lazy("casualty who is cold and wet"),
    "overheated person": _lazy("casualty who is overheated"),
    "gloves for whoever helps": _lazy("gloves for the first aider"),
    "waste with blood on it": _lazy("waste with blood on it"),
    "writing down what happened": _lazy("writing down what happened"),
    "hill walking": _lazy("hill walking"),
    "gorge walking": _lazy("gorge walking"),
    "caving": _lazy("caving"),
    "climbing": _lazy("climbing"),
    "paddling": _lazy("paddling"),
    "cycling": _lazy("cycling"),
    "winter walking": _lazy("winter walking"),
    "work party": _lazy("work party"),
    "camp": _lazy("camp"),
    "A saw or an axe can open an artery.": _lazy("A saw or an axe can open an artery."),
    "Cuts by tools are deep and long.": _lazy("Cuts from tools are deep and long."),
    "Stoves and fires burn and scald.": _lazy("Stoves and fires burn and scald."),
    "Stings and bites are to be expected.": _lazy("Expect stings and bites."),
    "A tick is taken off soon.": _lazy("A tick has to be removed soon."),
    "Whoever is hurt in snow cools down fast.": _lazy("Somebody hurt in snow gets cold fast."),
    "Whoever is wet cools down fast.": _lazy("Somebody who is wet gets cold fast."),
    "A limb is held still for hours.": _lazy("A limb may have to be held still for hours."),
    "Waiting for help is long and cold.": _lazy("Waiting for help is long and cold."),
    "Overheating comes on in an hour.": _lazy("People can overheat within an hour."),
}
"""The names of needs and activities that the program begins with, and why hazards ask for them: as
they were first stored, and as they are shown now."""


def word(name: str) -> str:
    """A need's or an activity's name, or why a hazard asks for a need, in the language of now where
    the program gave it."""
    return str(_WORDS.get(name, name))


_GROUPS = {
    NeedGroup.WOUNDS: _lazy("Wounds and bleeding"),
    NeedGroup.FEET: _lazy("Feet and skin"),
    NeedGroup.LIMBS: _lazy("Sprains and broken bones"),
    NeedGroup.ILLNESS: _lazy("Pain and illness"),
    NeedGroup.ALLERGY: _lazy("Bites, stings and allergies"),
    NeedGroup.HEAT_COLD: _lazy("Heat and cold"),
    NeedGroup.SEVERE: _lazy("Life-threatening"),
    NeedGroup.PROTECTION: _lazy("Protecting the first aider"),
}


def group(value: str) -> str:
    """What a group of needs is called."""
    return str(_GROUPS[NeedGroup(value)])


def prior(stated: StatedRate | None) -> str:
    """What was stated of a need before our own records, and by whom."""
    if stated is None:
        return _("No rate has been entered yet, and none has been taken from a study.")
    name = stated.stated_by.name if stated.stated_by else _("the program")
    if stated.per_1000 is None:
        return _("Left blank by %(name)s.") % {"name": name}
    facts = {"rate": number(stated.per_1000), "name": name}
    if stated.source == RateSource.STUDY:
        study = next((each for each in STUDIES if each.key == stated.study), None)
        if study is not None:
            facts |= {"authors": study.authors, "year": str(study.year)}
            return _("%(rate)s per 1,000, published by %(authors)s, %(year)s.") % facts
    return _("%(rate)s per 1,000, entered by %(name)s.") % facts


def recorded(uses: float, days: float, *, at_least: bool = False) -> str:
    """What our own records hold of a need; `at_least`: more may have been used."""
    if not days:
        return _("None of these trips carried anything for this need.")
    facts = {"n": number(uses), "days": number(days)}
    if not uses:
        if at_least:
            return (
                _(
                    "It is not known whether anything for this need was used in %(days)s "
                    "participant-days."
                )
                % facts
            )
        return _("Nothing for this need was used in %(days)s participant-days.") % facts
    facts["times"] = times(int(uses) or uses if at_least else uses)
    if at_least:
        return _("Needed at least %(times)s in %(days)s participant-days.") % facts
    return _("Needed %(times)s in %(days)s participant-days.") % facts


def study_rate(what: str, per_1000: float) -> str:
    """What a study found of something."""
    return _("%(what)s: %(rate)s per 1,000.") % {"what": what, "rate": number(per_1000)}


def uses_in_days(uses: float, days: float, *, at_least: bool) -> str:
    """What our own records hold of a need, for a table: so many uses in so many days."""
    if not days:
        return _("not carried yet")
    facts = {"n": number(uses), "days": number(days)}
    return (_("at least %(n)s in %(days)s") if at_least else _("%(n)s in %(days)s")) % facts


def rate_and_range(mean: float, low: float, high: float) -> str:
    """A rate per 1,000 and the middle 90 % of what is believed of it, for a table."""
    facts = {"mean": number(mean), "low": number(low), "high": number(high)}
    return _("%(mean)s (%(low)s to %(high)s)") % facts


def entered(stated: StatedRate | None) -> str:
    """What was entered or taken from a study, per 1,000, and by or from whom, for a table."""
    if stated is None:
        return ""
    if stated.per_1000 is None:
        return _("left blank")
    facts = {"rate": number(stated.per_1000), "name": _("the program")}
    if stated.stated_by:
        facts["name"] = stated.stated_by.name
    study = next((each for each in STUDIES if each.key == stated.study), None)
    if stated.source == RateSource.STUDY and study is not None:
        facts["name"] = f"{study.authors}, {study.year}"
    return _("%(rate)s (%(name)s)") % facts


def between(mean: float, low: float, high: float, *, at_least: bool = False) -> str:
    """A rate and the middle 90 % of what is believed of it, per 1,000; `at_least`: the rate is of
    uses of which there may have been more."""
    facts = {"mean": number(mean), "low": number(low), "high": number(high)}
    if at_least:
        return (
            _(
                "At least %(mean)s per 1,000 participant-days; we can be 90 %% sure that it is "
                "between %(low)s and %(high)s."
            )
            % facts
        )
    return (
        _(
            "About %(mean)s per 1,000 participant-days; we can be 90 %% sure that it is between "
            "%(low)s and %(high)s."
        )
        % facts
    )


def bears(of: RecordedUse) -> list[str]:
    """What our records hold of a need, and what that can bear."""
    said = [recorded(of.uses, of.days, at_least=of.at_least)]
    match of.bears:
        case Bears.NOTHING if of.days:
            said.append(_("That is too little to draw a conclusion."))
        case Bears.NONE_USED if of.high is not None:
            said.append(
                _(
                    "That is too few to call the need rare: it may come up as often as "
                    "%(rate)s times per 1,000 participant-days."
                )
                % {"rate": number(of.high * 1000)}
            )
        case Bears.RARE if of.high is not None:
            said.append(
                _(
                    "The need is rare here: it very likely comes up less than %(rate)s times "
                    "per 1,000 participant-days."
                )
                % {"rate": number(of.high * 1000)}
            )
        case Bears.TOO_FEW:
            said.append(
                _("Too few uses to say how often: the number is shown once there are %d uses.")
                % SHOWN_FROM
            )
        case Bears.RATE if of.low is not None and of.high is not None:
            said.append(
                between(
                    of.uses / of.days * 1000, of.low * 1000, of.high * 1000, at_least=of.at_least
                )
            )
    return said


def known_trips(known: int, trips: int) -> str:
    """Of how many trips it is known what was used."""
    return ngettext(
        "On record for %(known)d of %(trips)d trip.",
        "On record for %(known)d of %(trips)d trips.",
        trips,
    ) % {"known": known, "trips": trips}


def made_from(known: int, *, pooled: bool, stated: bool) -> str:
    """What a rate used in plans was made from: so many known trips of its activity, or of all of
    them (`pooled`), and what was stated or published."""
    if pooled and known:
        said = ngettext(
            "From %(n)d trip with any activity.", "From %(n)d trips with any activity.", known
        )
    elif pooled:
        return _("Only from rates entered by hand or taken from studies: no trip is on record.")
    elif known:
        said = ngettext(
            "From %(n)d trip with this activity; trips with other activities count less.",
            "From %(n)d trips with this activity; trips with other activities count less.",
            known,
        )
    else:
        said = _("No trip with this activity is on record, so the number may be far off.")
    said %= {"n": known}
    return (
        said + " " + _("Rates entered by hand or taken from studies are included.")
        if stated
        else said
    )
