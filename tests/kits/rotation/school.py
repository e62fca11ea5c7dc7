"""A room where one kit uses much, and another holds what ends soon."""

from kits.services.custody.use import UseLine
from kits.services.restocking import sorting
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh, world
from tests.kits.planning.school import past, serve


def school() -> World:
    """DAY-01 goes out often and uses dressings; SPARE never does, and has those that end soon."""
    made = world()
    serve(made)
    soon = make.some(made.dressing, made.shelf, 6, "SOON", make.days(120))
    spare = make.kit("SPARE", made.version, made.store, responsible=made.instructor)
    for lot, units, key in (
        (soon, 6, "main"),
        (made.lots["shears"], 1, "main"),
        (made.lots["tablets"], 8, "pouch"),
    ):
        make.put_in(spare, lot, made.shelf, units, key)
    for _ in range(3):
        past(made, UseLine(made.dressing, 6), people=4)
        sorting.restock(act(made.keeper), fresh(made.day_01))
    make.some(made.dressing, made.shelf, 20, "NEW", make.days(900))
    return made
