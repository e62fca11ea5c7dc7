"""Batches: what there is of each, with its date, and where it is by number."""

from collections.abc import Iterator

from django.db.models import Q, Sum

from gearroom.core.acts import Actor
from gearroom.core.rules.sentences import say
from kits.models import Lot, PlaceKind
from kits.rules.exchange.values import Column, Type
from kits.services.exchange.table import Filters, Row, Table
from kits.services.lookup import find

COLUMNS = (
    Column("number", say("Number"), say("The batch’s number here."), Type.WHOLE, most=10**9),
    Column("item", say("Item"), say("What it is a batch of.")),
    Column("lot", say("LOT"), say("The maker’s number of the batch.")),
    Column("serial", say("Serial number"), say("For an instrument.")),
    Column("expiry", say("Expiry date"), say("The last day on which it is in date."), Type.DAY),
    Column("opened_on", say("Opened on"), say("For an opened pack."), Type.DAY),
    Column("recalled", say("Recalled"), say("Whether its maker has recalled it."), Type.YES_NO),
    Column("on_shelves", say("On shelves"), say("How many units are on shelves."), Type.WHOLE),
    Column("in_kits", say("In kits"), say("How many units are in kits."), Type.WHOLE),
    Column("elsewhere", say("Elsewhere"),
           say("How many units are in quarantine, on the way, for training, or away."), Type.WHOLE),
)  # fmt: skip


def rows(actor: Actor, filters: Filters) -> Iterator[Row]:
    """All batches by item and date, with units in the rooms that somebody may see; narrowed to a
    room, those that are in it."""
    places = find.places_of(actor)
    if filters.room:
        places = places.filter(Q(room=filters.room) | Q(kit__home_room=filters.room))
    near = Q(holdings__place__in=places.values("pk"))
    shelf, section = (near & Q(holdings__place__kind=kind) for kind in
                      (PlaceKind.SHELF, PlaceKind.SECTION))  # fmt: skip
    lots = Lot.objects.select_related("item").annotate(
        on_shelves=Sum("holdings__units", filter=shelf),
        in_kits=Sum("holdings__units", filter=section),
        everywhere=Sum("holdings__units", filter=near),
    )
    if filters.room:
        lots = lots.filter(everywhere__gt=0)
    for lot in lots.order_by("item__name", "expiry", "number", "pk").iterator(chunk_size=2000):
        shelves, kits = lot.on_shelves or 0, lot.in_kits or 0
        yield {
            "number": lot.pk,
            "item": lot.item.name,
            "lot": lot.number,
            "serial": lot.serial,
            "expiry": lot.expiry,
            "opened_on": lot.opened_on,
            "recalled": lot.recall_id is not None,
            "on_shelves": shelves,
            "in_kits": kits,
            "elsewhere": (lot.everywhere or 0) - shelves - kits,
        }


TABLE = Table(
    "lots",
    say("Batches"),
    say("Every batch with its date, and how many units there are. Batches are added by receiving "
        "and by counting (see Contents), and corrected on their own pages."),
    COLUMNS,
    rows,
    narrowed_by=frozenset({"room"}),
    name_of=lambda values: str(values["item"]),
)  # fmt: skip
