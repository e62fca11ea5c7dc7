"""Moving what may not stay where it is kept, and putting it back: each one act."""

from datetime import date

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, Refused
from kits.models import Entry, EntryKind, Kit, Lot, Place, PlaceKind
from kits.rules.ledger.weather import may_return
from kits.services.ledger import Book, Leg, admission, kit_book, readiness
from kits.services.lookup.holders import refuse_if_out
from kits.services.restocking.sorting import refuse_if_kept_as_it_came
from kits.services.stock.receiving import today_in
from kits.services.weather import jobs
from kits.services.weather.jobs import WeatherJob


def out_of_kit(act: Act, kit: Kit, target: Place) -> Entry:
    """Move all that has to leave a kit now to a shelf of the room it is in, or to its quarantine
    until somebody knows whether it is still good. It opens the kit, and is no check of the rest.

    Raises Invalid (`shelf`) for a place elsewhere or with the same weather; Refused: `kit-is-out`,
    `keep-as-it-came-back`, `nothing-to-move`.
    """
    with kit_book(act, kit, here="restock") as (book, kit):
        refuse_if_out(kit)
        refuse_if_kept_as_it_came(kit)
        today = readiness.today_of(kit)
        job = _to_move(jobs.of_kit(kit, today))
        if target.room_id != kit.room_id:
            raise Invalid(
                _("Choose a shelf in %(room)s, where %(kit)s is.")
                % {"room": kit.room.name, "kit": kit.name},
                field="shelf",
            )
        return _move_out(book, job, target, today)


def out_of_shelf(act: Act, shelf: Place, target: Place) -> Entry:
    """Move all that has to leave a shelf now to another place of its room. Raises as
    `out_of_kit`."""
    with Book(act) as book:
        act.actor.require("move", shelf.room_id)
        today = today_in(shelf.room_now)
        job = _to_move(jobs.of_shelf(shelf, today))
        if target.room_id != shelf.room_id or target.pk == shelf.pk:
            raise Invalid(
                _("Choose another shelf in %(room)s.") % {"room": shelf.room_now.name},
                field="shelf",
            )
        return _move_out(book, job, target, today)


def _to_move(job: WeatherJob | None) -> WeatherJob:
    if job is None or not job.counted:
        raise Refused(
            "nothing-to-move",
            _("Nothing has to be moved because of the weather now. Reload the page."),
        )
    return job


def _move_out(book: Book, job: WeatherJob, target: Place, today: date) -> Entry:
    if target.kind not in (PlaceKind.SHELF, PlaceKind.QUARANTINE) or target.closed_on is not None:
        raise Invalid(_("Choose a shelf that is in use, or quarantine."), field="shelf")
    rows = [row for each in job.out for row in each.rows]
    _refuse_the_same_weather(job, target, today)
    last = max(each.stretch.last for each in job.out if each.rows)
    return book.post(
        EntryKind.WEATHER_OUT,
        [Leg(row.lot, row.place, _lands(row.lot, target), row.units) for row in rows],
        kit=job.kit,
        room=target.room,
        detail={
            "shelf": job.shelf.pk if job.shelf else None,
            "until": None if last == date.max else last.isoformat(),
            "begun": job.begun,
        },
    )


def _refuse_the_same_weather(job: WeatherJob, target: Place, today: date) -> None:
    if target.location is None:
        return
    weather = target.location.weather
    for each in job.out:
        if each.rows and not may_return(each.thing, weather, today):
            text = _("%(item)s cannot stay on %(shelf)s either, because of the weather there.")
            facts = {"item": each.thing.name, "shelf": target.name}
            raise Invalid(text % facts, field="shelf")


def _lands(lot: Lot, target: Place) -> Place:
    return admission.landing(lot, target)[0] if target.kind == PlaceKind.SHELF else target


def back_into_kit(act: Act, kit: Kit) -> Entry:
    """Put back what left a kit for the weather and may be there again, as far as its list wants it
    and it may still be put in.

    Raises Refused: `kit-is-out`, `keep-as-it-came-back`, `nothing-to-move`, and what is never put
    in (see `admission`) where that is all of it.
    """
    with kit_book(act, kit, here="restock") as (book, kit):
        refuse_if_out(kit)
        refuse_if_kept_as_it_came(kit)
        job = jobs.of_kit(kit, readiness.today_of(kit))
        rows = [row for row in (job.back if job else ()) if row.shelf.room_id == kit.room_id]
        if not rows:
            raise _nothing_to_put_back()
        pairs = [(row.lot, row.shelf) for row in rows]
        wrong = {fault["lot"] for fault in admission.faults(kit, pairs)}
        if all(row.lot.pk in wrong for row in rows):
            admission.put_in_guard(kit, pairs)
        return book.post(
            EntryKind.WEATHER_BACK,
            [
                Leg(row.lot, row.shelf, row.place, row.units)
                for row in rows
                if row.lot.pk not in wrong
            ],
            kit=kit,
            detail={"shelf": None},
        )


def back_onto_shelf(act: Act, shelf: Place) -> Entry:
    """Put back on a shelf what left it for the weather. Raises Refused (`nothing-to-move`)."""
    with Book(act) as book:
        act.actor.require("move", shelf.room_id)
        job = jobs.of_shelf(shelf, today_in(shelf.room_now))
        if job is None or not job.back:
            raise _nothing_to_put_back()
        legs = [
            Leg(row.lot, row.shelf, admission.landing(row.lot, shelf)[0], row.units)
            for row in job.back
        ]
        return book.post(EntryKind.WEATHER_BACK, legs, room=shelf.room, detail={"shelf": shelf.pk})


def _nothing_to_put_back() -> Refused:
    return Refused(
        "nothing-to-move",
        _("There is nothing left to put back after frost, heat or wet. Reload the page."),
    )
