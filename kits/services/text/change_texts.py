"""What is said of a change made to several kit lists: what it does, and how far it is."""

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.models import ListChange, What
from kits.rules.ledger.facts import Criticality
from kits.rules.planning.records.studies import STUDIES
from kits.services.text import wording

WHAT = {
    What.SWAP: _lazy("Replace it with another item"),
    What.ADD: _lazy("Add it"),
    What.REMOVE: _lazy("Leave it out"),
    What.AMOUNT: _lazy("Change how many are carried"),
}
PRIORITIES = {
    Criticality.ROUTINE: _lazy("routine"),
    Criticality.IMPORTANT: _lazy("important"),
    Criticality.MUST_HAVE: _lazy("must-have"),
}


AS_NOW = _lazy("as it is now")
"""Each list keeps the priority that it has."""


def amount(carry: int, least: int, priority: str) -> str:
    """How many a line carries, at least how many, and how much it matters."""
    return _("carry %(carry)s, at least %(least)s, %(priority)s") % {
        "carry": carry,
        "least": least,
        "priority": PRIORITIES[Criticality(priority)],
    }


def must_have(item: str, lists: Sequence[str]) -> str:
    """What is asked before a must-have goes from lists, or less of it is carried."""
    return _(
        "%(item)s is a must-have on %(lists)s. Only the medical adviser decides to leave out a "
        "must-have or to carry less of it: confirm that they have decided it."
    ) % {"item": item, "lists": ", ".join(lists)}


def what(change: ListChange) -> str:
    """What a change does, in a line."""
    facts = {
        "item": change.item.name,
        "new": change.instead.name if change.instead else "",
        "carry": change.carry,
        "least": change.never_below,
        "priority": PRIORITIES[Criticality(change.criticality)] if change.criticality else "",
    }
    texts = {
        What.SWAP: _("%(new)s in place of %(item)s"),
        What.ADD: _("Add %(item)s: carry %(carry)s, at least %(least)s, %(priority)s"),
        What.REMOVE: _("Leave out %(item)s"),
        What.AMOUNT: _("%(item)s: carry %(carry)s, at least %(least)s, %(priority)s")
        if change.criticality
        else _("%(item)s: carry %(carry)s, at least %(least)s, priority as it is now"),
    }
    return texts[What(change.what)] % facts


def how_far(change: ListChange, done: int, of: int) -> str:
    """How many of the kits that it concerns have it, and by which day all do."""
    if not of:
        return _("No kit in your gear rooms uses these lists.")
    text = (
        ngettext(
            "%(done)d of %(n)d kit has this change", "%(done)d of %(n)d kits have this change", of
        )
        % {"done": done, "n": of}
        if done
        else _("No kit has this change yet")
    )
    if change.by_day is None or change.withdrawn:
        return f"{text}."
    return _("%(how_far)s; all by %(day)s.") % {"how_far": text, "day": wording.day(change.by_day)}


STANDS = {
    "done": _lazy("done"),
    "still-old": _lazy("still has %(item)s"),
    "lacks-new": _lazy("has too little of %(new)s"),
    "other-version": _lazy("uses an earlier version of its list"),
    "not-published": _lazy("waits for version %(number)s to be published"),
}


def stand(change: ListChange, stand: str, number: int) -> str:
    """How a kit stands to a change, which is in the version of its list with that number."""
    new = (change.instead or change.item).name
    facts = {"item": change.item.name, "new": new, "number": number}
    return str(STANDS[stand]) % facts


def review(change: ListChange, today: date) -> str:
    """When to look at a change again: it is due, or will be, or was withdrawn."""
    on = change.due_on
    if on is None:
        return _("Withdrawn.")
    if on == today:
        return _("This change is due for review today.")
    facts = {"day": wording.day(on)}
    if on < today:
        return _("This change was due for review on %(day)s.") % facts
    return _("This change is due for review on %(day)s.") % facts


def read_in(source_read_in: str, study: str) -> str:
    """Where a source was read: in words, a published study, or both."""
    known = next((each for each in STUDIES if each.key == study), None)
    published = f"{known.authors}, {known.published}, {known.year}" if known else ""
    return "; ".join(filter(None, (source_read_in, published)))


USED_UP_FIRST = _lazy(
    "No kit has to be opened for this. An old item in a kit counts until it is used up; the "
    "new item goes in when the kit is open for another reason. After that day, a kit that "
    "still has the old item counts as low on it, and is listed here and in the weekly email."
)
