"""A kit and a shelf of a room where it freezes now, and others where it did."""

from collections.abc import Mapping

from gearroom.core.models import Person
from kits.models import Item, Kit, Location, Place
from kits.services.kits import kits
from kits.services.stock import shelves
from kits.services.weather import locations, moving
from tests.kits import factories as make


def locate(
    keeper: Person, warm: Place, splint: Item, cold: Mapping[str, tuple[Kit, Place]]
) -> dict[str, Location]:
    """Put what is *cold* where it freezes, and what is *thawed* where it froze until its splints
    were moved to the warm shelf. The locations, with an unused one."""
    room, month = warm.room_now, make.today().month
    at = {
        name: locations.add_location(
            make.act(keeper), room, name=f"{warm.name} {name}", frost_months=[month]
        )
        for name in ("van", "boat", "unused")
    }
    for name, where in (("cold", at["van"]), ("thawed", at["boat"])):
        kit, shelf = cold[name]
        kits.edit_kit(make.act(keeper), kit, location=where)
        make.some(splint, shelf, 2, f"S{shelf.pk}")
        shelves.edit_shelf(make.act(keeper), shelf, location=where)
    kit, shelf = cold["thawed"]
    moving.out_of_kit(make.act(keeper), kit, warm)
    shelf.refresh_from_db()
    moving.out_of_shelf(make.act(keeper), shelf, warm)
    locations.edit_location(make.act(keeper), at["boat"], frost_months=[])
    return at
