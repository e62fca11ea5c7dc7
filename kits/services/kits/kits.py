"""Kits as such: added, edited, following another version of a list, moved home, retired."""

import unicodedata
from typing import TypedDict, Unpack

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from gearroom.core.acts import (
    Act,
    Invalid,
    Refused,
    Unacceptable,
    name_taken,
    refuse_first,
    refuse_taken_name,
    store,
)
from gearroom.core.models import Person, Room
from kits.models import (
    Checkout,
    EntryKind,
    Holding,
    Kit,
    Location,
    PackingListVersion,
    Place,
    PlaceKind,
)
from kits.models.details import KitAddedDetail, KitFactsDetail
from kits.rules.lookup import label_codes
from kits.services.ledger import Book, kit_book, readiness
from kits.services.lists import packing_lists
from kits.services.lookup import kit_is_out, open_checkout, promises, refuse_if_out
from kits.services.lookup.locations import refuse_unused

LONGEST_NAME = 40


class KitFacts(TypedDict, total=False):
    """What may be set of a kit; `bag_volume_ml` and `bag_mass_limit_g` are what the bag takes."""

    name: str
    responsible: Person | None
    deputy: Person | None
    lives_in: str
    location: Location | None
    bag: str
    bag_volume_ml: int | None
    bag_mass_limit_g: int | None
    training: bool
    look_interval_days: int


def add_kit(
    act: Act,
    *,
    list_version: PackingListVersion,
    home_room: Room,
    **facts: Unpack[KitFacts],
) -> Kit:
    """Add a kit that follows a published version, empty, in its home room.

    Raises Refused: `name-taken`, `not-published`; Invalid for what cannot be.
    """
    act.actor.require("edit_kit", home_room.pk)
    kit = Kit(list_version=list_version, home_room=home_room, room=home_room, **facts)
    _settle(kit)
    with Book(act) as book:
        _refuse_unpublished(packing_lists.locked(list_version))
        _refuse_unused_location(kit)
        _save(kit)
        (kit,) = book.lock(kit.pk)
        _lay_out(kit, list_version)
        added: KitAddedDetail = {
            "what": "added",
            "list_version": list_version.pk,
            **_facts_of(kit),
        }
        book.post(EntryKind.KIT, kit=kit, detail=added)
    return kit


def edit_kit(act: Act, kit: Kit, **facts: Unpack[KitFacts]) -> Kit:
    """Change what is set of a kit. Where nothing changes, nothing is written.

    Raises Refused: `name-taken`, `kit-retired`, `training-stock-inside`; Invalid.
    """
    with kit_book(act, kit, home="edit_kit") as (book, kit):
        act.match(kit)
        _refuse_retired(kit)
        before = _facts_of(kit)
        for name, value in facts.items():
            setattr(kit, name, value)
        _settle(kit)
        after = _facts_of(kit)
        changed = {
            name: [was, now]
            for (name, was), now in zip(before.items(), after.values(), strict=True)
            if was != now
        }
        if not changed:
            return kit
        if "training" in changed and not kit.training and _held(kit).exists():
            raise Refused(
                "training-stock-inside",
                _("%(kit)s contains training stock. Empty it before you put it into use.")
                % {"kit": kit.name},
            )
        if "location" in changed:
            _refuse_unused_location(kit)
        _save(kit)
        book.post(EntryKind.KIT, kit=kit, detail={"what": "edited", "changed": changed})
    return kit


def follow_list(act: Act, kit: Kit, version: PackingListVersion) -> Kit:
    """Let a kit follow another published version. Sections new on it are added; one that is gone
    from it stays while it holds something or is out, and is closed otherwise.

    Raises Refused: `not-published`, `follows-already`, `kit-retired`.
    """
    with Book(act) as book:
        version = packing_lists.locked(version)
        (kit,) = book.lock(kit.pk)
        act.actor.require("edit_kit", kit.home_room_id)
        _refuse_retired(kit)
        _refuse_unpublished(version)
        if kit.list_version_id == version.pk:
            raise Refused(
                "follows-already",
                _("%(kit)s already uses version %(version_number)s of %(packing_list)s.")
                % {
                    "kit": kit.name,
                    "version_number": version.number,
                    "packing_list": version.packing_list.name,
                },
            )
        before = kit.list_version
        store(kit, list_version=version)
        opened, closed = _lay_out(kit, version)
        book.post(
            EntryKind.FOLLOW_LIST,
            kit=kit,
            detail={
                "from": before.pk,
                "to": version.pk,
                "sections_added": opened,
                "sections_closed": closed,
            },
        )
    return kit


def move_home(act: Act, kit: Kit, room: Room, *, is_there: bool = False) -> Kit:
    """Let another room be a kit's home; `is_there`: it is there already.

    Asks for the right in both rooms. Raises Refused: `kit-retired`, and `kit-is-out` where it is
    said to be there while somebody has it.
    """
    with kit_book(act, kit, home="edit_kit") as (book, kit):
        act.actor.require("edit_kit", room.pk)
        _refuse_retired(kit)
        if is_there and (held := open_checkout(kit)):
            raise kit_is_out(held)
        now_in = room if is_there else kit.room
        if (kit.home_room_id, kit.room_id) == (room.pk, now_in.pk):
            return kit
        before = [kit.home_room_id, kit.room_id]
        location = kit.location if kit.home_room_id == room.pk else None
        store(kit, home_room=room, room=now_in, location=location)
        book.post(
            EntryKind.KIT,
            kit=kit,
            detail={"what": "moved-home", "before": before, "after": [room.pk, now_in.pk]},
        )
    return kit


def retire_kit(act: Act, kit: Kit) -> Kit:
    """Take a kit out of use for good. Its history stays; so does its name.

    Raises Refused: `kit-is-out`, `kit-not-empty`, `kit-reserved`.
    """
    with kit_book(act, kit, home="edit_kit") as (book, kit):
        if kit.retired_on is not None:
            return kit
        refuse_if_out(kit)
        names = _held(kit).order_by("lot__item__name").values_list("lot__item__name", flat=True)
        if inside := list(dict.fromkeys(names[:50])):
            raise Refused(
                "kit-not-empty",
                _("%(kit)s still contains %(names)s. Empty the kit first.")
                % {"kit": kit.name, "names": ", ".join(inside)},
                things=inside,
            )
        if promised := promises.next_trip(kit):
            raise Refused(
                "kit-reserved",
                _(
                    "%(kit)s is reserved for %(promised)s. Release the reservation or choose "
                    "another kit."
                )
                % {"kit": kit.name, "promised": promised.name},
                kit=kit.name,
                trip=promised.pk,
                trip_name=promised.name,
            )
        store(kit, retired_on=readiness.today_of(kit))
        book.post(EntryKind.KIT, kit=kit, detail={"what": "retired"})
    return kit


def close_gone_sections(kit: Kit) -> list[str]:
    """Close those open sections of a locked kit that are not on its list and hold nothing any
    more; say their keys. Sections may come to be empty by any movement out of them."""
    gone = kit.sections.open().exclude(section_key__in=kit.list_version.sections.values("key"))
    holding = Holding.objects.on_hand().filter(place__in=gone).values("place")
    out = Checkout.objects.open().filter(section__in=gone).values("section")
    empty = list(gone.exclude(pk__in=holding).exclude(pk__in=out))
    Place.objects.filter(pk__in=[p.pk for p in empty]).update(closed_on=readiness.today_of(kit))
    return [p.section_key for p in empty]


# ------------------------------------------------------------------------------------------- inside
def _held(kit: Kit) -> QuerySet[Holding]:
    return Holding.objects.on_hand().filter(place__kit=kit)


def _lay_out(kit: Kit, version: PackingListVersion) -> tuple[list[str], list[str]]:
    """Give the kit a section for each of the version's, by key; say which were opened and which
    were closed."""
    there = {p.section_key: p for p in kit.sections.all()}
    wanted = list(version.sections.all())
    opened = [s.key for s in wanted if s.key not in there or there[s.key].closed_on is not None]
    for section in wanted:
        Place.objects.update_or_create(
            kit=kit,
            kind=PlaceKind.SECTION,
            section_key=section.key,
            defaults={"name": section.name, "position": section.position, "closed_on": None},
        )
    return opened, close_gone_sections(kit)


def _refuse_unpublished(version: PackingListVersion) -> None:
    if version.published_at is None:
        raise Refused(
            "not-published",
            _("Version %(version_number)s of %(packing_list)s is a draft. Publish it first.")
            % {"version_number": version.number, "packing_list": version.packing_list.name},
        )


def _refuse_retired(kit: Kit) -> None:
    if kit.retired_on is not None:
        raise Refused(
            "kit-retired", _("%(kit)s has been retired. Add a new kit instead.") % {"kit": kit.name}
        )


def _refuse_unused_location(kit: Kit) -> None:
    if kit.location is not None:
        refuse_unused(kit.location)


def _save(kit: Kit) -> None:
    with refuse_taken_name(_taken(kit)):
        kit.save()


def _taken(kit: Kit) -> str:
    return _("There is already a kit called %(name)s. Choose another name.") % {"name": kit.name}


def _settle(kit: Kit) -> None:
    """Tidy a kit's name and refuse what cannot be."""
    kit.name = name = " ".join(unicodedata.normalize("NFC", kit.name).split())
    others = Kit.objects.exclude(pk=kit.pk).values_list("name", flat=True)
    left = _("%(person)s has left the school. Choose somebody else.")
    refuse_first(
        (
            not name or len(name) > LONGEST_NAME or not name.isprintable() or "/" in name,
            Invalid(
                _("Enter a name of 1 to %(longest_name)s characters without a slash.")
                % {"longest_name": LONGEST_NAME},
                field="name",
            ),
        ),
        (
            not any(letter.isalnum() for letter in name),
            Invalid(_("Enter a name that contains at least one letter or digit."), field="name"),
        ),
        (
            label_codes.parse(name) is not None,
            Invalid(
                _(
                    "“%(name)s” is a valid label code, so scanning it could mean two different "
                    "kits. Choose another name."
                )
                % {"name": name},
                field="name",
            ),
        ),
        (
            name.casefold() in (other.casefold() for other in others),
            name_taken(_taken(kit)),
        ),
        (
            kit.responsible_id is not None and kit.responsible_id == kit.deputy_id,
            Unacceptable(
                "deputy-is-another",
                _(
                    "The deputy stands in for the responsible instructor, so choose a different "
                    "person."
                ),
            ),
        ),
        *(
            (person.left_on is not None, Invalid(left % {"person": person.name}, field=field))
            for person, field in ((kit.responsible, "responsible"), (kit.deputy, "deputy"))
            if person is not None
        ),
        (
            kit.location is not None and kit.location.room_id != kit.home_room_id,
            Invalid(
                _("Choose a location that belongs to the home gear room of the kit."),
                field="location",
            ),
        ),
        (
            kit.look_interval_days < 1,
            Invalid(
                _("The interval between contents checks must be at least one day."),
                field="look_interval_days",
            ),
        ),
    )


def _facts_of(kit: Kit) -> KitFactsDetail:
    return {
        "name": kit.name,
        "responsible": kit.responsible_id,
        "deputy": kit.deputy_id,
        "lives_in": str(kit.lives_in),
        "location": kit.location_id,
        "bag": kit.bag,
        "bag_volume_ml": kit.bag_volume_ml,
        "bag_mass_limit_g": kit.bag_mass_limit_g,
        "training": kit.training,
        "look_interval_days": kit.look_interval_days,
    }
