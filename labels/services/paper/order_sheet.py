"""An order to a supplier as PDF, to send or to read out."""

from datetime import date

from django.utils.translation import gettext as _

from gearroom.core import clock
from kits.models import OrderLine
from kits.services.orders.orders import OrderStands
from kits.services.text import order_texts
from kits.services.text.planning.planning_texts import money
from kits.services.text.wording import day
from labels import printing
from labels.printing import OrderSheet
from labels.services.paper.printer import job, pdf_of


def order_sheet(of: OrderStands, *, why: bool = False, names_room: bool = True) -> bytes:
    """The sheet, on A4, by default with the gear room that orders; for one's own file with `why`:
    the reason of each line, and what it costs to do without."""
    row, currency = of.order, of.order.currency
    if row.ordered_on is None:
        when = _("Draft of %(day)s: not ordered yet")
        on = clock.local_date(row.made_at, row.room.time_zone)
    else:
        when, on = _("Ordered on %(day)s"), row.ordered_on
    here = job(preview=True)
    who = ", ".join(filter(None, (here.organisation, row.room.name if names_room else "")))
    sheet = OrderSheet(
        title=_("Order to %(supplier)s") % {"supplier": row.supplier.name},
        notes=list(filter(None, (who, when % {"day": day(on)}))),
        headings=(_("Packs"), _("Item"), _("In a pack"), _("Each"), _("Cost")),
        lines=[
            (
                str(line.line.packs),
                line.line.item.name,
                str(line.line.pack_units),
                money(line.line.each, ""),
                money(line.cost, ""),
            )
            for line in of.lines
        ],
        below=[_why(line.line, row.through) for line in of.lines] if why else (),
        totals=[
            (_("Delivery"), money(row.delivery, "")),
            (_("Total, tax included"), money(of.total, currency)),
        ],
    )
    return pdf_of(lambda out: printing.order_sheet_pdf(sheet, out=out, job=here))


def _why(row: OrderLine, through: date) -> list[str]:
    texts = (order_texts.reason_of(row, through), order_texts.without_of(row, through))
    return [text for text in texts if text]
