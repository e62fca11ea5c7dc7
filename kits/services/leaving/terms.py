"""To whom something goes, for what and why; and what keeps it here."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, Refused
from kits.models import LEFT_US, Lot, PlaceKind
from kits.models.details import LeaveDetail
from kits.rules.leaving.leaving import Fault, hindrances
from kits.services.ledger import admission, lots, readiness
from kits.services.stock.receiving import check_price

LONGEST_TO = 120


@dataclass(frozen=True)
class Terms:
    """Sold or given away (`way`), to whom, at what price for all of it. `expired`: whoever gets it
    knows that some of it is out of date, or that its date is not known."""

    way: PlaceKind
    to: str
    price: Decimal | None = None
    currency: str = ""
    expired: bool = False

    @property
    def detail(self) -> LeaveDetail:
        """As the entry keeps it."""
        return {
            "way": self.way,
            "to": self.to.strip(),
            "price": None if self.price is None else str(self.price),
            "currency": self.currency,
        }


def check(act: Act, terms: Terms) -> None:
    """Raise Invalid for no way, nobody, no reason, or a price without a currency."""
    if terms.way not in LEFT_US:
        raise Invalid(_("Choose whether this is sold or given away."), field="way")
    if not terms.to.strip():
        raise Invalid(
            _("Enter who is getting this: from then on, they are responsible for it."), field="to"
        )
    if len(terms.to.strip()) > LONGEST_TO:
        raise Invalid(_("Enter who is getting this, in at most 120 characters."), field="to")
    if not act.reason.strip():
        raise Invalid(_("Enter why this is leaving."), field="reason")
    check_price(terms.price, terms.currency)
    if terms.price is not None and terms.way == PlaceKind.GIVEN:
        raise Invalid(
            _("What is given away has no price: leave the price empty, or record a sale."),
            field="price",
        )


def check_units(of: Iterable[Lot], terms: Terms, today: date) -> None:
    """Refuse what nobody else is to get, and what is out of date unless that is confirmed; in the
    transaction that moves it. Raises Refused: `recalled`, `withheld`, `failed-check`,
    `confirm-expired`."""
    known = readiness.batches(lots.held_still(lot.pk for lot in of)).values()
    found = hindrances(known, today)
    for fault in found.kept_here:
        raise Refused(
            admission.CODES[fault.code],
            admission.sentence(fault.batch, fault.code),
            lot=fault.batch.id,
        )
    if found.to_confirm and not terms.expired:
        raise Refused(
            "confirm-expired",
            _(
                "Not as good as new: %(batches)s. Tell whoever is getting them, and confirm "
                "that they know; or remove them first."
            )
            % {"batches": "; ".join(map(_named, found.to_confirm))},
            lots=[fault.batch.id for fault in found.to_confirm],
        )


def _named(fault: Fault) -> str:
    return admission.sentence(fault.batch, fault.code)
