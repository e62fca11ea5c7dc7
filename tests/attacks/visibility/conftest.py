"""Two rooms of which neither may know the other's."""

import pytest

from gearroom.core.models import Person
from gearroom.core.rules.roles import Role
from kits.services.custody import custody
from kits.services.labelling import labelling
from kits.services.trips import reservations
from tests.kits import factories as make

PHONE = "07700 900321"


@pytest.fixture
def w() -> make.World:
    """A hut with a kit, a trip, a shelf, stock and people of its own, whom nobody of the store may
    see."""
    made = make.world()
    Person.objects.filter(pk=made.stranger.pk).update(name="Zebedee", phone=PHONE)
    made.stranger.refresh_from_db()
    made.hut_kit = make.kit("CAVE-9", made.version, made.hut, responsible=made.stranger)
    made.hut_trip = make.trip("Zip cave", made.hut, 1, 1, leader=made.stranger)
    made.trip = make.trip("Hill day", made.store, 1, 1)
    made.hut_keeper = make.person("Zachary", Role.KEEPER, made.hut)
    made.hut_lot = make.some(made.dressing, made.hut_shelf, 4, "Z9", make.days(200))
    made.tag = labelling.label_for(make.act(made.hut_keeper), made.stranger, made.hut)
    made.hut_promise = reservations.reserve(
        make.act(made.hut_keeper), made.hut_kit, made.hut_trip
    ).reservation
    out = custody.check_out(
        make.act(made.hut_keeper), made.hut_kit, person=made.stranger, already_gone=True
    )
    made.hut_entry = out.entry
    return made
