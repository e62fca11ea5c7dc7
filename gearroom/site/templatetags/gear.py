"""Small words of the pages' templates."""

import re
import uuid
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import template
from django.db.models import Model
from django.utils import formats
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _, pgettext

from gearroom.core import clock
from gearroom.core.models import Room
from kits.models import Activity, Entry, EntryKind, InstrumentCheck, Kit, Need, Place, Trip
from kits.rules.ledger.facts import Verdict, Word
from kits.services.ledger.verdicts import Judged, Question
from kits.services.text import irregular_texts, verdict_texts, wording
from kits.services.text.planning import rate_texts
from kits.services.trips.trip_readiness import KitOfTrip

register = template.Library()


@register.filter
def unbroken(name: str) -> SafeString:
    """A name that stands in a sentence and does not break at its hyphen."""
    return format_html('<span class="unbroken">{}</span>', name)


@register.simple_tag
def once() -> SafeString:
    """The key of a form's act: sent twice, the act is done once."""
    return format_html('<input type="hidden" name="key" value="{}">', uuid.uuid4())


@register.simple_tag
def options(rows: Iterable[Any], chosen: Any = None) -> SafeString:
    """The options of a select: rooms, needs and activities, other rows with a name, or pairs of a
    value and a label."""
    chosen = _sent_as(chosen)
    pairs = (row if isinstance(row, tuple) else (_sent_as(row), _label(row)) for row in rows)
    return format_html_join(
        "\n",
        '<option value="{}"{}>{}</option>',
        (
            (value, mark_safe(" selected") if str(value) == chosen else "", label)
            for value, label in pairs
        ),
    )


def _sent_as(row: Any) -> str:
    """What a form sends for a row: a room's slug, the key of a need or activity, another row's
    number, or the value itself."""
    match row:
        case Room():
            return str(row.slug)
        case Need() | Activity():
            return str(row.key)
        case Model():
            return str(row.pk)
    return str(row)


def _label(row: Any) -> str:
    """A row's name; those of needs and activities in the reader's language."""
    return rate_texts.word(row.name) if isinstance(row, Need | Activity) else str(row.name)


_LINE_END_BEFORE_PUNCTUATION = re.compile(r"\s*\n\s*(?=[,.:;)])")


@register.simple_block_tag
def sentence(content: str) -> SafeString:
    """A sentence whose parts are on lines of their own, without blanks before its punctuation."""
    return mark_safe(_LINE_END_BEFORE_PUNCTUATION.sub("", content.strip()))


@register.simple_tag
def key() -> str:
    """A key alone, for a field that stands outside its form."""
    return str(uuid.uuid4())


@register.filter
def day(value: date | str | None) -> str:
    """A day in words: 30 November 2026; a day without end as such."""
    if not value:
        return ""
    value = _day(value)
    return _("no end date") if value == date.max else wording.day(value)


@register.filter
def short_day(value: date | None) -> str:
    """A day for a table's column: 30 Nov 2026; a day without end as such."""
    if not value or value == date.max:
        return day(value)
    return formats.date_format(value, pgettext("date format", "j M Y"))


@register.filter
def weekday(value: date | None) -> str:
    """A near day in words: Monday 30 November."""
    return formats.date_format(value, pgettext("date format", "l j F")) if value else ""


def _local(value: datetime, room: Room | None) -> datetime:
    """An instant by a room's clock; by UTC without one."""
    return value.astimezone(ZoneInfo(room.time_zone if room else "UTC"))


@register.filter
def local_day(value: datetime, room: Room | None) -> str:
    """The day of an instant by a room's clock, in full: for paper, on which *today* goes stale."""
    return wording.day(_local(value, room).date())


@register.filter
def at(value: datetime | str | None, room: Room | None) -> str:
    """An instant in a room's own time, near ones by name: today 17:30, Thursday 17:30."""
    if not value:
        return ""
    value = datetime.fromisoformat(value) if isinstance(value, str) else value
    local = _local(value, room)
    away = (local.date() - clock.now().astimezone(local.tzinfo).date()).days
    time = formats.date_format(local, "H:i")
    near = {
        0: _("today at %(time)s"),
        1: _("tomorrow at %(time)s"),
        -1: _("yesterday at %(time)s"),
    }
    if away in near:
        return near[away] % {"time": time}
    if -7 < away < 7:
        return f"{formats.date_format(local, 'l')} {time}"
    return f"{wording.day(local.date())}, {time}"


@register.filter
def hour(value: datetime, room: Room | None) -> str:
    """The time of an instant by a room's clock: 17:30."""
    return formats.date_format(_local(value, room), "H:i")


@register.filter
def instant(value: datetime, room: Room | None) -> str:
    """An instant in a room's own time, by its date, for paper: 30 November 2026, 17:30."""
    local = _local(value, room)
    return f"{wording.day(local.date())}, {formats.date_format(local, 'H:i')}"


TONES = {
    Word.READY: "ok",
    Word.LOW: "low",
    Word.SHORT: "short",
    Word.DO_NOT_TAKE: "stop",
    Word.NOT_SET_UP: "unset",
}
"""The class of whatever shows a verdict, by its word: its colour and the kind of its edge."""
_TRIP_TONES = {
    "covered": "ok",
    "short": "short",
    "stops": "stop",
    "no-kits": "stop",
    "waiting": "unset",
}


@register.filter
def tone(of: Verdict | str) -> str:
    """The class of a row or card of a kit that stands so, by its verdict or the word of it."""
    return TONES[of.word if isinstance(of, Verdict) else Word(of)]


@register.filter
def trip_tone(state: str) -> str:
    """The class of a row or card of a trip, by its state (`JudgedTrip.state`): never green while it
    waits for a kit."""
    return _TRIP_TONES.get(state, "")


@register.filter
def trip_kit_tone(row: KitOfTrip) -> str:
    """The class of a kit's row on the page of its trip."""
    if row.on_it:
        return ""
    if row.in_time:
        return TONES[Word.NOT_SET_UP]
    if row.elsewhere:
        return TONES[Word.DO_NOT_TAKE]
    return tone(row.verdict) if row.verdict else ""


@register.filter
def check_tone(check: InstrumentCheck | None, today: date) -> str:
    """The class of an instrument's row, by its last check."""
    if check and not check.passed:
        return TONES[Word.DO_NOT_TAKE]
    overdue = not check or (check.due_on and check.due_on < today)
    return TONES[Word.SHORT if overdue else Word.READY]


@register.filter
def outcome_tone(card: Mapping[str, Any]) -> str:
    """The class of the card of what a scan came to."""
    if card["taken_out"] or card["handed_back"]:
        return TONES[Word.READY]
    if card["refused"]:
        return TONES[Word.DO_NOT_TAKE]
    kit = card["kit"]
    return tone(kit["verdict"]) if kit and not kit["out_since"] else ""


@register.simple_tag
def verdict(kit: Kit, judged: Judged) -> SafeString:
    """A kit's verdict in words, on an element that says which kit, day and trip were judged."""
    trip = judged.question.trip
    return _mark(
        kit.name,
        judged.question.through,
        trip.pk if trip else None,
        judged.verdict.word,
        verdict_texts.verdict(judged.verdict),
    )


@register.simple_tag
def trip_verdict(kit: Kit, of: Verdict, trip: Trip) -> SafeString:
    """The same of a kit of a trip, judged for it."""
    return verdict(kit, Judged(Question(of.through, trip), of))


@register.simple_tag
def scanned_verdict(kit: Mapping[str, Any]) -> SafeString:
    """The same of a kit that was scanned, as the API shows it."""
    return _mark(
        kit["name"], _day(kit["through"]), kit["trip"], Word(kit["verdict"]), kit["verdict_text"]
    )


def _mark(kit: str, through: date, trip: int | None, word: Word, text: str) -> SafeString:
    return format_html(
        '<span class="mark {}" data-kit="{}" data-through="{}" data-trip="{}" data-verdict="{}">'
        "{}</span>",
        TONES[word],
        kit,
        through.isoformat(),
        trip if trip is not None else "",
        word,
        text,
    )


@register.simple_tag
def beside(kit: Kit, judged: Judged) -> str:
    """What stands beside a verdict: the question that it answers, and the first expiry."""
    trip = judged.question.trip
    return _beside(judged.question.through, trip.name if trip else "", kit.first_expiry)


@register.simple_tag
def judged_for(judged: Judged) -> str:
    """The question alone, where the first expiry stands in a column of its own."""
    trip = judged.question.trip
    return verdict_texts.judged_for(judged.question.through, trip.name if trip else "")


@register.simple_tag
def trip_beside(kit: Kit, of: Verdict, trip: Trip) -> str:
    """The same of a kit of a trip, judged for it."""
    return _beside(of.through, trip.name, kit.first_expiry)


@register.simple_tag
def scanned_beside(kit: Mapping[str, Any]) -> str:
    """The same of a kit that was scanned, as the API shows it."""
    expiry = kit["first_expiry"]
    return _beside(_day(kit["through"]), kit["trip_name"], _day(expiry) if expiry else None)


def _day(value: date | str) -> date:
    """A day of an answer, which is text where the answer was kept."""
    return date.fromisoformat(value) if isinstance(value, str) else value


def _beside(through: date, trip: str, expiry: date | None) -> str:
    parts = (verdict_texts.judged_for(through, trip), verdict_texts.first_expiry(expiry))
    return " · ".join(filter(None, parts))


@register.filter
def undo_of(message: Any) -> str:
    """The entry that a message's *undo* names, or nothing."""
    tags = str(message.extra_tags or "")
    return tags.removeprefix("undo-") if tags.startswith("undo-") else ""


@register.filter
def act(entry: Entry) -> str:
    """What an entry's act is called in a history."""
    if entry.kind == EntryKind.LOOK_INSIDE and entry.detail.get("as_found"):
        return _("seal checked")
    return wording.act(entry.kind)


@register.simple_tag(takes_context=True)
def place(context: template.Context, of: Place, *, room: bool = True) -> str:
    """What a place is called, with where it is now if that is not its room, and with its room where
    there are several and none stands beside it."""
    return wording.place(of.kind, of.where, with_room=room and not context.get("alone"))


register.filter(wording.in_words)
register.filter(wording.withheld)


@register.filter
def irregular(codes: list[str]) -> str:
    """The rules that an entry broke, in sentences."""
    return " ".join(map(irregular_texts.irregular, codes))


@register.filter
def digits(number: str) -> str:
    """The last three characters of a seal's number, to compare with what is in the hand."""
    return number[-3:]


@register.filter
def dial(phone: str) -> str:
    """A telephone number as a tel: link has it (RFC 3966)."""
    return "tel:" + "".join(c for c in phone if c.isdigit() or c == "+")
