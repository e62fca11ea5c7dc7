"""Shelves of a gear room: added, renamed, put in walking order, closed when empty, used again."""

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import (
    NOT_GIVEN,
    Act,
    Invalid,
    NotGiven,
    Refused,
    locked,
    refuse_taken_name,
    store,
)
from gearroom.core.models import Room
from kits.models import Location, Place, PlaceKind
from kits.services.lookup.locations import refuse_unused, still_used

LONGEST_NAME = 80


def add_shelf(act: Act, room: Room, name: str, *, position: int | None = None) -> Place:
    """Add a shelf to a room, last in walking order unless it has a position. Raises Refused
    (`name-taken`)."""
    act.actor.require("edit_shelf", room.pk)
    shelves = Place.objects.shelves().filter(room=room)
    if position is None:
        last = shelves.order_by("-position").values_list("position", flat=True).first()
        position = (last or 0) + 1
    return _save(Place(room=room, kind=PlaceKind.SHELF, name=_name(name), position=position))


@transaction.atomic
def edit_shelf(
    act: Act,
    shelf: Place,
    *,
    name: str | None = None,
    position: int | None = None,
    location: Location | NotGiven | None = NOT_GIVEN,
) -> Place:
    """Rename a shelf, move it in the walking order, or say at which `location` it is now (None: in
    the gear room). Raises Refused (`name-taken`), Invalid (`location`)."""
    act.actor.require("edit_shelf", shelf.room_id)
    shelf = locked(act, shelf)
    shelf.name = shelf.name if name is None else _name(name)
    shelf.position = shelf.position if position is None else position
    if not isinstance(location, NotGiven):
        if location is not None and location.room_id != shelf.room_id:
            raise Invalid(
                _("Choose a location that belongs to the gear room of the shelf."), field="location"
            )
        if location is not None:
            refuse_unused(location)
        shelf.location = location
    return _save(shelf)


@transaction.atomic
def close_shelf(act: Act, shelf: Place) -> Place:
    """Close a shelf that is empty. Raises Refused (`shelf-not-empty`)."""
    act.actor.require("edit_shelf", shelf.room_id)
    shelf = locked(act, shelf)
    if shelf.holdings.on_hand().exists():
        raise Refused(
            "shelf-not-empty",
            _("%(shelf)s is not empty. First move the items on it, or count the shelf.")
            % {"shelf": shelf.name},
        )
    store(shelf, closed_on=clock.today(shelf.room_now.time_zone))
    return shelf


@transaction.atomic
def open_again(act: Act, shelf: Place) -> Place:
    """Use a closed shelf again; in the gear room where its location is no longer used."""
    act.actor.require("edit_shelf", shelf.room_id)
    location = shelf.location if shelf.location and still_used(shelf.location) else None
    store(shelf, closed_on=None, location=location)
    return shelf


@transaction.atomic
def move(act: Act, shelf: Place, *, earlier: bool) -> None:
    """Walk to a shelf one shelf earlier or later; at the end of the walk nothing changes."""
    act.actor.require("edit_shelf", shelf.room_id)
    order = list(
        Place.objects.select_for_update()
        .open()
        .shelves()
        .filter(room=shelf.room_id)
        .order_by("position", "name", "id")
    )
    at = next((n for n, each in enumerate(order) if each.pk == shelf.pk), None)
    if at is None:
        raise Invalid(_("%(shelf)s is closed. Reopen it first.") % {"shelf": shelf.name})
    order.insert(max(at - 1, 0) if earlier else at + 1, order.pop(at))
    for position, each in enumerate(order, start=1):
        each.position = position
    Place.objects.bulk_update(order, ["position"])


def _name(name: str) -> str:
    name = " ".join(name.split())
    if not name or len(name) > LONGEST_NAME:
        raise Invalid(
            _("Enter a shelf name of up to %(most)d characters.") % {"most": LONGEST_NAME},
            field="name",
        )
    return name


def _save(shelf: Place) -> Place:
    taken = _("There is already a shelf called %(shelf)s in this room.") % {"shelf": shelf.name}
    with refuse_taken_name(taken):
        shelf.save()
    return shelf
