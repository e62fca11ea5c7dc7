"""Kits in a few facts that can be compared: what an undo changes."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from gearroom.core.rules.grouping import summed
from kits.models import Entry, Holding, Kit, LevelFact, Reservation, Seal, Withholding
from kits.services.ledger import facts
from kits.services.lookup.holders import open_checkouts
from kits.services.text import wording


@dataclass(frozen=True)
class Glance:
    """One kit: units by thing, levels by thing, and its state in words by what it is about."""

    name: str
    units: dict[str, int]
    levels: dict[str, str]
    state: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Change:
    """One thing that changed: of which kit, what, and a sentence about it."""

    kit: str
    what: str
    text: str


def of(kits: Iterable[Kit]) -> dict[int, Glance]:
    """These kits as they are now."""
    ids = [kit.pk for kit in kits]
    rows = Kit.objects.filter(pk__in=ids).select_related("room", "home_room").order_by("name")
    return {kit.pk: _glance(kit) for kit in rows}


def _glance(kit: Kit) -> Glance:
    held = Holding.objects.on_hand().filter(place__kit=kit).select_related("lot__item")
    return Glance(
        kit.name,
        summed(
            (f"{row.lot.item.name} {row.lot.number or row.lot.serial}".strip(), row.units)
            for row in held
        ),
        dict(
            LevelFact.objects.filter(facts.then(), section__kit=kit)
            .order_by("id")
            .values_list("item__name", "level")
        ),
        _state(kit),
    )


def _state(kit: Kit) -> dict[str, str]:
    zone = kit.home_room.time_zone
    out = [
        held.person.name if held.person else _("an unnamed person") for held in open_checkouts(kit)
    ]
    whole = Seal.objects.unbroken().filter(kit=kit).order_by("id")
    kept = Withholding.objects.open().filter(kit=kit).order_by("id")
    promised = Reservation.objects.promised().filter(kit=kit).select_related("trip")
    return {
        "holder": ", ".join(out),
        "room": kit.room.name,
        "seal": ", ".join(whole.values_list("number", flat=True)),
        "sorting": wording.moment(kit.to_sort_since, zone) if kit.to_sort_since else "",
        "withheld": ", ".join(wording.withheld(row.kind) for row in kept),
        "lost": wording.moment(kit.lost_since, zone) if kit.lost_since else "",
        "away": wording.moment(kit.laid_up_since, zone) if kit.laid_up_since else "",
        "looked-inside": wording.day(kit.looked_inside_on) if kit.looked_inside_on else "",
        "reserved": ", ".join(row.trip.name for row in promised),
    }


def changes(before: dict[int, Glance], after: dict[int, Glance]) -> Iterator[Change]:
    """What changed, kit by kit; the sentences are in the reader's language."""
    for pk, now in after.items():
        was = before[pk]
        yield from (
            Change(now.name, what, _sentence(now.name, what, state))
            for what, state in now.state.items()
            if state != was.state[what]
        )
        for thing in sorted({*was.units, *now.units}):
            counts = was.units.get(thing, 0), now.units.get(thing, 0)
            if counts[0] != counts[1]:
                text = _("%(kit)s contains %(after)d × %(thing)s, not %(before)d.") % {
                    "kit": now.name, "thing": thing, "before": counts[0], "after": counts[1],
                }  # fmt: skip
                yield Change(now.name, "contents", text)
        yield from (
            Change(now.name, "level", _level(now, thing))
            for thing in sorted({*was.levels, *now.levels})
            if was.levels.get(thing) != now.levels.get(thing)
        )


def _sentence(kit: str, what: str, state: str) -> str:
    there, gone = {
        "holder": (_("%(state)s has %(kit)s."), _("Nobody has %(kit)s: it is not out.")),
        "room": (_("%(kit)s is in %(state)s."), ""),
        "seal": (_("Seal on %(kit)s: %(state)s."), _("%(kit)s has no seal on record.")),
        "sorting": (
            _("%(kit)s has needed sorting since %(state)s."),
            _("%(kit)s does not need sorting."),
        ),
        "withheld": (
            _("%(kit)s is on hold: %(state)s."),
            _("%(kit)s is not on hold."),
        ),
        "lost": (_("%(kit)s has been lost since %(state)s."), _("%(kit)s is not lost.")),
        "away": (_("%(kit)s has been in storage since %(state)s."), _("%(kit)s is in use.")),
        "looked-inside": (
            _("%(kit)s was last checked on %(state)s."),
            _("No check of %(kit)s is on record."),
        ),
        "reserved": (
            _("%(kit)s is reserved for %(state)s."),
            _("%(kit)s is not reserved for any trip."),
        ),
    }[what]
    return (there if state else gone) % {"kit": kit, "state": state}


def _level(now: Glance, thing: str) -> str:
    words = {"full": _("full"), "low": _("low"), "empty": _("empty")}
    level = words.get(now.levels.get(thing, ""), _("not known"))
    return _("%(thing)s in %(kit)s: %(level)s.") % {"thing": thing, "kit": now.name, "level": level}


# ------------------------------------------------------------------------------------------- acts
def act(entry: Entry) -> dict[str, Any]:
    """An act on record as a refusal lists it: `entry`, `kind`, `when`, `who`, `text`."""
    zone = entry.kit.home_room.time_zone if entry.kit else "UTC"
    text = wording.act(entry.kind)
    if entry.kit is not None:
        text = _("%(kit)s %(act)s") % {"kit": entry.kit.name, "act": text}
    if entry.person is not None:
        text = _("%(act)s by %(name)s") % {"act": text, "name": entry.person.name}
    text = _("%(act)s, %(when)s") % {"act": text, "when": wording.moment(entry.occurred_at, zone)}
    return {
        "entry": entry.pk,
        "kind": entry.kind,
        "when": entry.occurred_at.isoformat(),
        "who": entry.person.name if entry.person else None,
        "text": text,
    }
