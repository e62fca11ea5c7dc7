"""Kits for all trips together: what is proposed, changed by hand, and reserved at once."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _, ngettext

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.core.rules.grouping import grouped
from gearroom.site.web.page import Done, actor, form_view, show, today_here
from gearroom.site.web.trips.season_bars import picture
from gearroom.site.web.trips.trips import chosen_room
from kits.models import Kit, Trip
from kits.services.buying.kit_costs import contents_costs
from kits.services.lookup import find
from kits.services.trips.season import remarks, season_kits
from kits.services.trips.season.season_kits import KitForTrip, TripKits

ADDED = "add-"
"""What the field of a kit added to a trip by hand begins with; the trip's id follows."""


@dataclass(frozen=True)
class KitTick:
    """A kit to be ticked for a trip, as the form has it; `each` is None for one that was added by
    hand."""

    name: str
    value: str
    ticked: bool
    each: KitForTrip | None = None


@dataclass(frozen=True)
class TripRow:
    """A trip with what can be ticked for it: kits to reserve, and reserved ones to release."""

    row: TripKits
    reserve: Sequence[KitTick]
    release: Sequence[KitTick]
    added: str

    @property
    def is_settled(self) -> bool:
        """Whether there is nothing to look at first."""
        by_hand = any(tick.each is None for tick in self.reserve) or self.added
        return self.row.is_settled and not by_hand


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    """Each open trip with its kits, those chosen for it ticked; after a refusal as they were."""
    room, changes = chosen_room(request), "changes" in request.GET
    found = season_kits.season_kits(actor(request), room, changes=changes, costs_of=contents_costs)
    rows = [_row(request, row, changes=changes) for row in found.trips]
    return show(
        request,
        "site/trips/season/season.html",
        problem=problem,
        changing=[row for row in rows if row.row.released],
        open=[row for row in rows if not (row.is_settled or row.row.released)],
        served=[row for row in rows if row.is_settled],
        kits=[kit.name for kit in found.kits],
        percent=100 * found.within if found.within >= 0.0005 else None,
        not_counted_on=found.not_counted_on,
        chosen=room,
        changes=changes,
        picture=picture(actor(request), found, today_here(request), changes=changes),
        remarks=_indexed(remarks.remarks(found)),
        may_edit=actor(request).may("edit_trip"),
        typed=request.method == "POST",
        new_tick=KitTick("", "", ticked=False),
    )


def _row(request: HttpRequest, row: TripKits, *, changes: bool) -> TripRow:
    def ticks(field: str, kits: Iterable[KitForTrip], ticked: bool) -> list[KitTick]:
        sent = request.POST.getlist(field) if request.method == "POST" else None
        values = [(each, f"{row.trip.pk}:{each.kit.name}") for each in kits]
        return [
            KitTick(each.kit.name, value, ticked if sent is None else value in sent, each)
            for each, value in values
        ]

    reserve = ticks("reserve", row.chosen, ticked=True)
    proposed = {tick.value for tick in reserve}
    by_hand = [
        KitTick(value.partition(":")[2], value, ticked=True)
        for value in request.POST.getlist("reserve")
        if value.startswith(f"{row.trip.pk}:") and value not in proposed
    ]
    may_change = [each for each in row.promised if changes and each.may_change]
    return TripRow(
        row,
        [*reserve, *by_hand],
        [*ticks("release", row.released, ticked=True), *ticks("release", may_change, ticked=False)],
        request.POST.get(f"{ADDED}{row.trip.pk}", ""),
    )


def _indexed(remarks: Mapping[str, Sequence[str]]) -> dict[str, Any]:
    """Each text once, and by kit its number for each trip."""
    number: dict[str, int] = {}
    kits = {
        kit: [number.setdefault(text, len(number)) for text in texts]
        for kit, texts in remarks.items()
    }
    return {"texts": list(number), "kits": kits}


def _pairs(act: Act, values: Iterable[str]) -> list[tuple[Trip, Kit]]:
    """The trips and kits that ticks of the page name."""
    pairs = [value.split(":", 1) for value in values]
    if any(len(pair) != 2 for pair in pairs):
        raise _not_from_the_page()
    return [(find.trip(act.actor, trip), find.kit(act.actor, kit)) for trip, kit in pairs]


def _shown(request: HttpRequest) -> dict[int, set[int]]:
    """By trip, the reservations that the page had."""
    shown = [value.partition(":") for value in request.POST.getlist("shown")]
    try:
        return {
            int(trip): {int(each) for each in ids.split(",") if each} for trip, colon, ids in shown
        }
    except ValueError:
        raise _not_from_the_page() from None


def _not_from_the_page() -> Invalid:
    return Invalid(_("Choose kits from the page, and try again."), field="reserve")


@form_view("reserve", page_of=_page)
def reserve(act: Act, request: HttpRequest) -> Done:
    """Reserve the ticked kits, and those added by hand, once others are released."""
    added = [
        f"{name.removeprefix(ADDED)}:{kit.strip()}"
        for name, kit in request.POST.items()
        if name.startswith(ADDED) and isinstance(kit, str) and kit.strip()
    ]
    released = _pairs(act, request.POST.getlist("release"))
    wanted = _pairs(act, [*request.POST.getlist("reserve"), *added])
    done = season_kits.reserve(act, wanted, released, _shown(request))
    reserved = [(each.reservation.trip, each.reservation.kit) for each in done]
    says = [
        ngettext("%(n)d kit reserved. %(which)s.", "%(n)d kits reserved. %(which)s.", len(done))
        % {
            "n": len(done),
            "which": _by_trip(reserved),
        },
        ngettext(
            "%(n)d reservation released. %(which)s.",
            "%(n)d reservations released. %(which)s.",
            len(released),
        )
        % {"n": len(released), "which": _by_trip(released)},
    ]
    return Done(
        " ".join(text for text, of in zip(says, (done, released), strict=True) if of),
        to=request.get_full_path(),
    )


def _by_trip(pairs: Iterable[tuple[Trip, Kit]]) -> str:
    of_trip = grouped((trip.name, kit.name) for trip, kit in pairs)
    return "; ".join(f"{trip}: {', '.join(kits)}" for trip, kits in of_trip.items())
