"""A kit whose items have needs, and past trips of it."""

from collections.abc import Sequence

from gearroom.core import clock
from kits.models import Activity, AsFound, ItemNeed, Need, Trip
from kits.services.custody import custody
from kits.services.custody.returns import Remarks
from kits.services.custody.use import UseLine
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh


def serve(w: World) -> None:
    """Dressings are for small wounds, two a use; tablets for pain."""
    small, pain = (Need.objects.get(key=key) for key in ("small-wound", "headache"))
    ItemNeed.objects.create(item=w.dressing, need=small, units_per_use=2)
    ItemNeed.objects.create(item=w.tablets, need=pain)


def past(
    w: World,
    *used: UseLine,
    people: int = 8,
    activity: Activity | None = None,
    remarks: Remarks | None = None,
    counted: bool = True,
) -> Trip:
    """DAY-01 goes on a trip of one day and comes back, with what was used and what was not there,
    unless nobody `counted`."""
    day = (clock.today("UTC") - make.days(0)).days
    trip = make.trip("Hill day", w.store, day, day, people=people, activity=activity)
    custody.check_out(act(w.keeper), fresh(w.day_01), person=w.guide, trip=trip, already_gone=True)
    custody.check_in(
        act(w.keeper),
        fresh(w.day_01),
        as_found=_as_found(used, counted=counted),
        used=list(used),
        remarks=remarks or Remarks(),
    )
    return trip


def _as_found(used: Sequence[UseLine], *, counted: bool) -> AsFound:
    if not counted:
        return AsFound.SORT_LATER
    return AsFound.OPENED if used else AsFound.CLOSED
