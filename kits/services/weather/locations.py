"""Locations: a van, a boat, a hut, a home where kits and shelves of a room are, with the weather
there. They are no rooms: who may do what is decided by the room they belong to."""

from collections.abc import Collection
from typing import TypedDict, Unpack

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, Refused, locked, refuse_first, refuse_taken_name, store
from gearroom.core.models import Room
from kits.models import Kit, Location, Place
from kits.rules.ledger.weather import EVERY_MONTH

LONGEST_NAME = 80


class LocationFacts(TypedDict, total=False):
    """What may be set of a location; see the table's columns."""

    name: str
    frost_months: Collection[int]
    heat_months: Collection[int]
    wet_months: Collection[int]
    coldest_c: int | None
    hottest_c: int | None


def add_location(act: Act, room: Room, **facts: Unpack[LocationFacts]) -> Location:
    """Add a location to a room. Raises Refused (`name-taken`), Invalid."""
    act.actor.require("edit_shelf", room.pk)
    return _save(Location(room=room), facts)


@transaction.atomic
def edit_location(act: Act, location: Location, **facts: Unpack[LocationFacts]) -> Location:
    """Change what is on record of a location. Raises Refused (`name-taken`), Invalid."""
    act.actor.require("edit_shelf", location.room_id)
    location = locked(act, location)
    location.revision += 1
    return _save(location, facts)


@transaction.atomic
def close_location(act: Act, location: Location) -> Location:
    """Stop using a location. Raises Refused (`location-in-use`) while a kit or shelf is there."""
    act.actor.require("edit_shelf", location.room_id)
    location = locked(act, location)
    names = [
        *Kit.objects.active().filter(location=location).values_list("name", flat=True),
        *Place.objects.open().filter(location=location).values_list("name", flat=True),
    ]
    if names:
        raise Refused(
            "location-in-use",
            _("%(names)s are still at %(location)s. Choose another location for them first.")
            % {"names": ", ".join(names), "location": location.name},
        )
    store(location, closed_on=clock.today(location.room.time_zone), revision=location.revision + 1)
    return location


def _save(location: Location, facts: LocationFacts) -> Location:
    months = ("frost_months", "heat_months", "wet_months")
    for name, value in facts.items():
        setattr(location, name, sorted(set(value)) if name in months else value)  # type: ignore[call-overload]  # the value of a key of a TypedDict is an object
    location.name = " ".join(location.name.split())
    refuse_first(
        (
            not location.name or len(location.name) > LONGEST_NAME,
            Invalid(
                _("Enter a name of up to %(most)d characters, such as Van 2.")
                % {"most": LONGEST_NAME},
                field="name",
            ),
        ),
        *(
            (
                not set(getattr(location, name)) <= EVERY_MONTH,
                Invalid(_("Months are numbers from 1 to 12."), field=name),
            )
            for name in months
        ),
        (
            bool(location.heat_months) and location.hottest_c is None,
            Invalid(
                _(
                    "Enter how hot it gets there, as you measured it: without a temperature nobody "
                    "can say what gets too hot."
                ),
                field="hottest_c",
            ),
        ),
        (
            location.hottest_c is not None and not location.heat_months,
            Invalid(_("Tick the months in which it gets that hot."), field="heat_months"),
        ),
        (
            location.coldest_c is not None and not location.frost_months,
            Invalid(_("Tick the months in which it gets that cold."), field="frost_months"),
        ),
    )
    with refuse_taken_name(
        _("There is already a location called %(name)s in this gear room.")
        % {"name": location.name}
    ):
        location.save()
    return location
