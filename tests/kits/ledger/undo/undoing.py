"""Acts that are undone, and what is listed before that."""

from typing import Any

from gearroom.core.models import Person
from kits.models import Checkout, Entry, Holding, Kit, Movement, Seal
from kits.services.custody import custody
from kits.services.ledger import readiness
from kits.services.ledger.undo import reversal
from kits.services.lookup import holders
from tests.kits import factories as make
from tests.kits.factories import act, fresh
from tests.kits.problems import refused
from tests.present import present


def out(school: make.World, who: Person | None = None, kit: Any = None, **more: Any) -> Entry:
    return custody.check_out(
        act(school.keeper), kit or school.day_01, person=who or school.guide, **more
    ).entry


def back(school: make.World, **more: Any) -> Entry:
    return custody.check_in(act(school.keeper), school.day_01, **more).entry


def undo(
    school: make.World, entry: Entry | None, who: Person | None = None, **more: Any
) -> reversal.Reversed:
    return reversal.reverse(act(who or school.keeper), present(entry).pk, **more)


def listed(school: make.World, entry: Entry, **more: Any) -> Any:
    """What stands on an act, as the refusal lists it."""
    with refused("built-on") as problem:
        undo(school, entry, **more)
    return problem.value.facts


def together(school: make.World, entry: Entry) -> reversal.Reversed:
    later = listed(school, entry)["later"]
    return undo(school, entry, together=True, through=later[-1]["entry"])


def stands(kit: Kit) -> dict[Any, Any]:
    """All that a kit is by the book, as plain values."""
    kit = fresh(kit)
    state = readiness.states([kit.pk])[kit.pk]
    held = holders.open_checkout(kit)
    return {
        "units": sorted(
            Holding.objects.filter(place__kit=kit, units__gt=0).values_list("lot", "place", "units")
        ),
        "levels": state.levels,
        "seals": sorted(Seal.objects.filter(kit=kit, broken=None).values_list("number", flat=True)),
        "holder": held and held.person_id,
        "as found": held and held.as_found,
        "room": kit.room_id,
        "sorting": kit.to_sort_since,
        "looked": (kit.looked_inside_on, kit.looked_inside_by_id),
        "withheld": sorted(kit.withholdings.filter(released=None).values_list("kind", flat=True)),
        "away": kit.laid_up_since,
        "lost": kit.lost_since,
        "good": (kit.ready_until, kit.fit_until, kit.may_go_until, kit.clear_until),
        "promised": sorted(kit.reservations.filter(released=None).values_list("trip", "person")),
    }


def rows() -> tuple[int, int, int]:
    """How many rows a refusal could have left behind."""
    return Entry.objects.count(), Movement.objects.count(), Checkout.objects.count()
