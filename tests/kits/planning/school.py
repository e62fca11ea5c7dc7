"""A kit whose items have needs, and past trips of it."""

from kits.models import Activity, AsFound, ItemNeed, Need, Trip
from kits.services.custody import custody
from kits.services.custody.use import UseLine
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh


def serve(w: World) -> None:
    """Dressings are for small wounds, two a use; tablets for pain."""
    small, pain = (Need.objects.get(key=key) for key in ("small-wound", "headache"))
    ItemNeed.objects.create(item=w.dressing, need=small, units_per_use=2)
    ItemNeed.objects.create(item=w.tablets, need=pain)


def past(w: World, *used: UseLine, people: int = 8, activity: Activity | None = None) -> Trip:
    """DAY-01 goes on a trip of one day and comes back, with what was used."""
    trip = make.trip("Hill day", w.store, people=people, activity=activity)
    custody.check_out(act(w.keeper), fresh(w.day_01), person=w.guide, trip=trip, already_gone=True)
    custody.check_in(
        act(w.keeper),
        fresh(w.day_01),
        as_found=AsFound.OPENED if used else AsFound.CLOSED,
        used=list(used),
    )
    return trip
