"""Calendars that trips come from: added, looked at, taken over; and what is asked about them."""

from collections import Counter
from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import formats
from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy, ngettext

from gearroom.core.acts import Act, Actor, Invalid, Problem
from gearroom.site.web.page import (
    Done,
    Line,
    PageForm,
    ShortText,
    Tick,
    WholeNumber,
    acted,
    actor,
    form_view,
    here,
    page,
    rooms_of,
    show,
)
from kits.models import TripCalendar
from kits.rules.text.hazards import HAZARDS
from kits.rules.trips.calendars import MAX_BYTES, Change
from kits.services.calendars import calendars, questions, reading, versions
from kits.services.calendars.calendars import CalendarFacts
from kits.services.calendars.versions import EventShown, Preview
from kits.services.lookup import find
from kits.services.text import trip_calendar_texts, wording
from kits.services.trips.trip_facts import MOST_PEOPLE, TripFacts

_SALT, _AN_HOUR = "calendar-content", 3600
_LOOKS: dict[Change | None, tuple[str, Promise]] = {
    Change.NEW: ("ok", gettext_lazy("New")),
    Change.CHANGED: ("short", gettext_lazy("Changed")),
    None: ("stop", gettext_lazy("Not a trip")),
}
_COLUMNS: dict[str, Promise] = {
    "name": gettext_lazy("Name"),
    "departs_at": gettext_lazy("Departs"),
    "returns_at": gettext_lazy("Returns"),
    "room": gettext_lazy("Gear room"),
    "people": gettext_lazy("People"),
    "hazards": gettext_lazy("Hazards"),
    "youngest": gettext_lazy("Ages"),
    "oldest": gettext_lazy("Ages"),
    "activity": gettext_lazy("Activity"),
    "hours_to_care": gettext_lazy("Hours to a hospital or doctor"),
    "leader": gettext_lazy("Leader"),
    "leader_name": gettext_lazy("Leader"),
    "leader_email": gettext_lazy("Leader"),
    "planned": gettext_lazy("Planned"),
}


class CalendarForm(PageForm):
    """What a calendar is called, where its trips leave from, and its address, if it has one."""

    name = Line(80, message=gettext_lazy("Enter a name for the calendar."))
    address = ShortText(2000)
    in_files = Tick()
    room = ShortText(80)
    people = WholeNumber(least=1, most=MOST_PEOPLE, label=gettext_lazy("People"))
    places = ShortText(6000)


def _facts(who: Actor, request: HttpRequest, calendar: TripCalendar | None = None) -> CalendarFacts:
    values = CalendarForm.read(request.POST)
    address = values["address"]
    if values["in_files"]:
        address = ""
    elif not address and calendar is not None:
        address = None  # it is shown nowhere, so an empty field is no other address
    return CalendarFacts(
        name=values["name"],
        room=find.room(who, values["room"]),
        people=values["people"],
        address=address,
        places=calendars.places_from(who, values["places"]),
    )


# --------------------------------------------------------------------------------------- the list
def _list_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    sent = request.POST if problem and "name" in request.POST else None
    return show(
        request,
        "site/trips/calendars/calendars.html",
        problem=problem,
        calendars=[(each, *_look(each)) for each in calendars.calendars_of(who)],
        questions=_questions(who),
        may_edit=True,
        **_fields(request, None, sent),
    )


def _questions(who: Actor) -> list[Any]:
    return [
        each for each in questions.open_questions(who) if who.may("edit_trip", each.trip.room_id)
    ]


def _fields(request: HttpRequest, calendar: TripCalendar | None, sent: Any) -> dict[str, Any]:
    """What the form of a calendar shows: what was sent where that was refused, else what it has."""
    who = actor(request)
    if sent is None and calendar is not None:
        places = calendar.places.select_related("room")
        sent = {
            "name": calendar.name,
            "room": calendar.room.slug,
            "people": calendar.people,
            "places": "\n".join(f"{each.words} = {each.room.name}" for each in places),
        }
    first = getattr(here(request), "slug", "")
    return {
        "hazard_words": [*HAZARDS, *wording.hazards(HAZARDS)],
        "sent": sent if sent is not None else {"people": "8", "room": first},
        "rooms_here": [room for room in rooms_of(request) if who.may("edit_trip", room.pk)],
    }


def _look(calendar: TripCalendar) -> tuple[str, str]:
    """How a calendar stands: the look of it, and in a word."""
    if calendar.stopped_at is not None:
        return "", _("Stopped")
    if calendar.taken_on is None:
        return "short", _("Not imported yet")
    if calendar.failing_since is not None:
        return "stop", _("Cannot be read")
    return "ok", _("In use")


@form_view("edit_trip", page_of=_list_page)
def add(act: Act, request: HttpRequest) -> Done:
    """A new calendar; it leads to what it would bring."""
    calendar = calendars.add(act, _facts(act.actor, request))
    return Done(
        _("%(calendar)s has been added. See what it would change, then import its trips.")
        % {"calendar": calendar.name},
        to=reverse("calendar", args=[calendar.pk]),
    )


# ------------------------------------------------------------------------------------------- one
def _page(
    request: HttpRequest,
    calendar: int,
    problem: Problem | None = None,
    preview: Preview | None = None,
    sealed: str = "",
) -> HttpResponse:
    row = calendars.get(actor(request), calendar)
    look, word = _look(row)
    sent = request.POST if problem and "name" in request.POST else None
    return show(
        request,
        "site/trips/calendars/calendar.html",
        problem=problem,
        calendar=row,
        waiting=sum(each.calendar_id == row.pk for each in _questions(actor(request))),
        look=look,
        word=word,
        failure=trip_calendar_texts.failure(row.failure),
        counts=_counts(row.counts),
        refused=versions.refused_of(row),
        in_use=calendars.is_in_use(row),
        trips=row.events.count(),
        preview=_shown(preview) if preview else None,
        sealed=sealed,
        **_fields(request, row, sent),
    )


@page("edit_trip")
def one(request: HttpRequest, calendar: int) -> HttpResponse:
    """One calendar; what a version of it would change; taking over what was looked at. Only the
    last is an act."""
    if request.method != "POST":
        return _page(request, calendar)
    row = calendars.get(actor(request), calendar)
    act = Act(actor=actor(request), room=here(request))
    try:
        if "sure" in request.POST:
            return _take(request, row)
        content = _content(act, request, row)
        preview = versions.preview(act, row, content)
    except Problem as problem:
        return _page(request, calendar, problem)
    held = {"calendar": row.pk, "content": content.decode("latin-1"), "plan": preview.plan}
    sealed = signing.dumps(held, salt=_SALT, compress=True)
    return _page(request, calendar, preview=preview, sealed=sealed)


def _content(act: Act, request: HttpRequest, calendar: TripCalendar) -> bytes:
    """A version of a calendar: of the file that was sent, else what its address holds."""
    if calendar.address:
        return reading.content_now(act, calendar)
    if (file := request.FILES.get("file")) is None:
        raise Invalid(_("Choose the file first."), field="file")
    content: bytes = file.read(MAX_BYTES + 1)
    if len(content) > MAX_BYTES:
        raise Invalid(
            _(
                "A calendar file may have up to %(most)s MB. Export fewer events, such as those "
                "of one season."
            )
            % {"most": MAX_BYTES // 1024**2},
            field="file",
        )
    return content


def _take(request: HttpRequest, calendar: TripCalendar) -> HttpResponse:
    try:
        held = signing.loads(request.POST["sure"], salt=_SALT, max_age=_AN_HOUR)
    except signing.BadSignature:  # expired too
        raise Invalid(_("This preview is too old. See again what would change.")) from None
    if held["calendar"] != calendar.pk:
        raise Invalid(_("This belongs to another calendar. Open the calendar again."))

    def perform(act: Act) -> Done:
        content = held["content"].encode("latin-1")
        counts = versions.take(act, calendar, content, plan=held["plan"])
        changed = counts["new"] + counts["changed"]
        says = ngettext(
            "%(count)d trip has been added or changed.",
            "%(count)d trips have been added or changed.",
            changed,
        )
        return Done(says % {"count": changed} if changed else _("No trip had to be changed."))

    return acted(request, perform, to=reverse("calendar", args=[calendar.pk]))


def _shown(preview: Preview) -> dict[str, Any]:
    """A preview as the page shows it: what is changed or refused, each with its look and its word,
    and how many are not."""
    rows = [each for each in preview.events if each.change in _LOOKS]
    others = [each for each in preview.events if each.change not in _LOOKS]
    return {
        "rows": [
            (each, *_LOOKS[each.change], _columns(each), _of_trip(each.facts)) for each in rows
        ],
        "changes": any(each.change is not None for each in rows) or bool(preview.gone),
        "others": _counts(Counter(str(each.change) for each in others)),
        "gone": preview.gone,
    }


def _columns(event: EventShown) -> list[str]:
    return list(dict.fromkeys(str(_COLUMNS[name]) for name in event.columns if name in _COLUMNS))


def _of_trip(facts: TripFacts | None) -> dict[str, Any]:
    """What a preview says of a trip beside its columns."""
    if facts is None or facts.room is None:
        return {}
    zone = ZoneInfo(facts.room.time_zone)
    leaves, back = (each.astimezone(zone) for each in (facts.departs_at, facts.returns_at))
    return {
        "back": formats.time_format(back, "H:i") if leaves.date() == back.date() else "",
        "hazards": wording.hazards(facts.hazards),
        "leader": ", ".join(filter(None, (facts.leader_name, facts.leader_email))),
    }


def _counts(counts: Mapping[str, int]) -> list[tuple[str, int]]:
    """What the last version did, in words."""
    words = [
        ("new", _("new")),
        ("changed", _("changed")),
        ("unchanged", _("unchanged")),
        ("older", _("older than what was read before")),
        ("left-out", _("over or cancelled")),
        ("refused", _("not a trip")),
        ("gone", _("no longer in it")),
    ]
    return [(word, counts[name]) for name, word in words if counts.get(name)]


@form_view("edit_trip", "calendar", refused=_page)
def change(act: Act, request: HttpRequest, calendar: int) -> Done:
    """Change what a calendar is called, its address, where its trips leave from."""
    row = calendars.get(act.actor, calendar)
    calendars.change(act, row, _facts(act.actor, request, row))
    return Done(_("Saved."))


@form_view("edit_trip", "calendar", refused=_page)
def read_soon(act: Act, request: HttpRequest, calendar: int) -> Done:
    """Read it at its address, without waiting for its turn."""
    calendars.read_soon(act, calendars.get(act.actor, calendar))
    return Done(_("It will be read within a minute. Then reload this page."))


@form_view("edit_trip", "calendar", refused=_page)
def stop(act: Act, request: HttpRequest, calendar: int) -> Done:
    """Read it no more."""
    row = calendars.stop(act, calendars.get(act.actor, calendar))
    return Done(_("%(calendar)s is not read any more. Its trips stay.") % {"calendar": row.name})


@form_view("edit_trip", "calendar", refused=_page)
def use_again(act: Act, request: HttpRequest, calendar: int) -> Done:
    """Read it again."""
    row = calendars.use_again(act, calendars.get(act.actor, calendar))
    return Done(_("%(calendar)s is read again.") % {"calendar": row.name})


@form_view("edit_trip", "calendar", refused=_page)
def remove(act: Act, request: HttpRequest, calendar: int) -> Done:
    """Delete it, if no trip came from it."""
    name = calendars.remove(act, calendars.get(act.actor, calendar))
    return Done(_("%(calendar)s has been deleted.") % {"calendar": name}, to=reverse("calendars"))


# ------------------------------------------------------------ what is no longer in one
def _questions_page(
    request: HttpRequest, event: int, problem: Problem | None = None
) -> HttpResponse:
    return _list_page(request, problem)


@form_view("edit_trip", refused=_questions_page)
def keep(act: Act, request: HttpRequest, event: int) -> Done:
    """The trip takes place though it is no longer in its calendar."""
    row = questions.keep(act, questions.get(act.actor, event))
    return Done(_("%(trip)s stays.") % {"trip": row.trip.name}, to=reverse("calendars"))


@form_view("edit_trip", refused=_questions_page)
def cancel(act: Act, request: HttpRequest, event: int) -> Done:
    """Cancel the trip that is no longer in its calendar."""
    done = questions.cancel(act, questions.get(act.actor, event))
    sentence = _("%(trip)s has been cancelled.")
    if done.released:
        sentence = _("%(trip)s has been cancelled. Available again: %(kits)s.")
    return Done(
        sentence % {"trip": done.trip.name, "kits": ", ".join(done.released)},
        to=reverse("calendars"),
    )
