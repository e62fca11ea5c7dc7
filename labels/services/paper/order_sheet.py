"""An order to a supplier as PDF, to send or to read out."""

from django.utils.translation import gettext as _

from gearroom.core import clock
from kits.services.orders.orders import OrderStands
from kits.services.text.planning.planning_texts import money
from kits.services.text.wording import day
from labels import printing
from labels.printing import OrderSheet
from labels.services.paper.printer import job, pdf_of


def order_sheet(of: OrderStands) -> bytes:
    """The sheet, on A4."""
    row, currency = of.order, of.order.currency
    if row.ordered_on is None:
        when = _("Draft of %(day)s: not ordered yet")
        on = clock.local_date(row.made_at, row.room.time_zone)
    else:
        when, on = _("Ordered on %(day)s"), row.ordered_on
    here = job(preview=True)
    sheet = OrderSheet(
        title=_("Order to %(supplier)s") % {"supplier": row.supplier.name},
        notes=[
            ", ".join(filter(None, (here.organisation, row.room.name))),
            when % {"day": day(on)},
        ],
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
        totals=[
            (_("Delivery"), money(row.delivery, "")),
            (_("Total, tax included"), money(of.total, currency)),
        ],
    )
    return pdf_of(lambda out: printing.order_sheet_pdf(sheet, out=out, job=here))
