"""What a weekly email says, in the order of what matters, and nothing cut."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from gearroom.core.models import Person
from kits.models import Certainty, Kit, RecallPlace
from kits.rules import weekly as rule
from kits.rules.expiry import good_through
from kits.rules.facts import Weight
from kits.rules.letters import Letter, Part, Row
from kits.rules.picking import FillUp, RestockList
from kits.rules.readiness import Why
from kits.services import happened, wording
from kits.services.gathering import Held, Week
from kits.services.messages import kit_page, page


def letter(week: Week) -> Letter:
    """What the email says, in the order of what matters."""
    to_open = rule.by_urgency((k for k in week.kits if k.wants_opening), week.today)
    unfit = rule.departures_not_fit(week.kits, week.today)
    alarms = (*map(_recalled, week.recalled), *map(happened.row, week.medicines))
    first = (_departure(unfit[0], week),) if unfit else ()
    rest = [k for k in to_open if k not in unfit[:1]]  # the first stands above, with all its swaps
    parts = [
        Part(_("Kits to open"), tuple(_to_open(k, week) for k in rest)),
        Part(_("Order by"), tuple(_to_order(o, week.today) for o in week.order)),
        Part(_("Not back"), tuple(_not_back(week))),
        Part(_("Not looked inside for a year"), tuple(_not_looked(week))),
        Part(_("Checks due"), tuple(_check(h, week) for h in week.checks)),
        Part(_("Date not known"), tuple(_undated(week))),
        Part(_("Also this week"), tuple(happened.row(n) for n in week.held_back)),
        *_months(week),
    ]
    shown = tuple(part for part in parts if part.rows)
    closing = []
    if week.off_shelves:
        closing.append(
            ngettext(
                "%(count)d batch on the shelves is out of date: it is on the attached list.",
                "%(count)d batches on the shelves are out of date: they are on the attached list.",
                len(week.off_shelves),
            )
            % {"count": len(week.off_shelves)}
        )
    if picks(week) or week.off_shelves:
        closing.append(_("The attached list has what to take from where, in the order of the "
                         "shelves."))  # fmt: skip
    if not (alarms or first or shown or week.off_shelves):
        first = (Row(_nothing_to_do(week)),)
    else:
        closing.insert(0, _looked(week))
    closing.append(
        _("This keeps stock and does arithmetic; it is not medical advice. Look at every pack "
          "before use.")
    )  # fmt: skip
    return Letter(
        subject=subject(week, unfit, to_open),
        alarms=alarms,
        first=first,
        parts=shown,
        closing=tuple(closing),
    )


def subject(week: Week, unfit: Sequence[rule.KitWeek], to_open: Sequence[rule.KitWeek]) -> str:
    """How many kits are not fit for this week's trips, how long the work takes, what must be
    ordered by when."""
    said = []
    if week.recalled:
        said.append(_("RECALL waits for an answer"))
    if unfit:
        said.append(
            ngettext(
                "%(count)d kit not fit for this week's trips",
                "%(count)d kits not fit for this week's trips",
                len(unfit),
            )
            % {"count": len(unfit)}
        )
    else:
        said.append(_("Every kit is fit for this week's trips"))
    if to_open:
        said.append(
            _("%(time)s of work") % {"time": _long(rule.minutes(to_open, week.minutes_a_kit))}
        )
    if week.order:
        said.append(
            ngettext(
                "order %(count)d thing by %(day)s", "order %(count)d things by %(day)s",
                len(week.order),
            ) % {"count": len(week.order), "day": _day(week.order[0].by, week.today)}
        )  # fmt: skip
    return "; ".join(said)


def _long(minutes: int) -> str:
    hours, rest = divmod(minutes, 60)
    if not hours:
        return _("%(minutes)d min") % {"minutes": rest}
    if not rest:
        return _("%(hours)d h") % {"hours": hours}
    return _("%(hours)d h %(minutes)d min") % {"hours": hours, "minutes": rest}


def _nothing_to_do(week: Week) -> str:
    return _("Nothing to do. %(looked)s") % {"looked": _looked(week)}


def _looked(week: Week) -> str:
    """One line that shows it looked."""
    said = ngettext(
        "%(count)d kit judged through %(day)s",
        "%(count)d kits judged through %(day)s",
        len(week.kits),
    ) % {"count": len(week.kits), "day": _day(week.horizon, week.today)}
    oldest = [k.look_by for k in week.kits if k.look_by is not None]
    if oldest:
        said += _("; the next look inside is due by %(day)s") % {
            "day": _day(min(oldest), week.today)
        }
    return f"{said}."


# ----------------------------------------------------------------------------------------- alarms
def _recalled(row: RecallPlace) -> Row:
    kit = row.place.kit
    assert kit is not None  # asked for places of kits
    sure = (
        _("%(kit)s holds it") if row.certainty == Certainty.CERTAIN else _("%(kit)s may hold it")
    ) % {"kit": kit.name}
    text = _("RECALL: %(thing)s, batch %(number)s: %(sure)s. Look, take it out, and answer.") % {
        "thing": row.recall.item.name,
        "number": row.recall.number or _("of any number"),
        "sure": sure,
    }
    lines = [line for line in (row.recall.advice, _ring(row.person, kit)) if line]
    return Row(text, page(f"/stock/recalls/{row.recall.pk}/"), tuple(lines))


def _ring(person: Person | None, kit: Kit | None = None) -> str:
    """Who to ring: whoever has it or answers for it, else the room."""
    if person is not None and person.phone:
        return _("Ring %(name)s, %(phone)s.") % {"name": person.name, "phone": person.phone}
    if kit is not None and kit.room.phone:
        return _("Ring the %(name)s, %(phone)s.") % {"name": kit.room.name, "phone": kit.room.phone}
    return _("%(name)s has it.") % {"name": person.name} if person is not None else ""


# -------------------------------------------------------------------------------------- departures
def _departure(kit: rule.KitWeek, week: Week) -> Row:
    """The soonest departure, kit, when, who leads, what it is, how many, what is wrong, what
    settles it."""
    going = kit.going
    assert going is not None  # only departures come here
    text = _("%(when)s: %(kit)s for %(trip)s, %(leader)s, %(people)d people.") % {
        "when": _when(going.departs_at, week),
        "kit": kit.name,
        "trip": going.name,
        "leader": " ".join(filter(None, (going.leader or _("no leader named"), going.phone))),
        "people": going.people,
    }
    return Row(text, kit_page(kit.name), tuple(_wrong(kit, week)))


def _to_open(kit: rule.KitWeek, week: Week) -> Row:
    before = rule.open_before(kit, week.today)
    if kit.going is not None:
        why = _("before %(when)s, %(trip)s") % {
            "when": _when(kit.going.departs_at, week),
            "trip": kit.going.name,
        }
    elif before <= week.today:
        why = _("not fit now")
    else:
        why = _("before %(day)s") % {"day": _day(before, week.today)}
    text = f"{kit.name}: {why}"
    if kit.out_to:
        text += _(" (%(name)s has it, due back %(when)s)") % {
            "name": kit.out_to,
            "when": _when(kit.due_back, week) if kit.due_back else "?",
        }
    return Row(text, kit_page(kit.name), tuple(_wrong(kit, week)))


def _wrong(kit: rule.KitWeek, week: Week) -> list[str]:
    """Everything that stands against a kit with what settles it, then all else to put in while
    it is open."""
    verdict, listed = kit.verdict, kit.restock
    if verdict is None:
        return []
    swaps = settles(listed, week) if listed else {}
    lines, said = [], set()
    lacking = {r.facts.get("thing_id") for r in verdict.reasons if r.code != Why.TAKE_OUT}
    for reason in verdict.reasons:
        if reason.weight is Weight.NOTE:
            continue
        # What goes in stands with what is lacking, not once more with what comes out.
        once = reason.code == Why.TAKE_OUT and reason.facts.get("thing_id") in lacking
        lines.append(wording.reason(reason, {} if once else swaps)["text"])
        said.add(reason.facts.get("thing_id"))
    if listed is not None:
        for row in listed.put_in:
            thing = row.line.thing
            if thing.id not in said:
                said.add(thing.id)
                lines.append(f"{thing.name}: {swaps[thing.id]}.")
    return lines


def settles(listed: RestockList, week: Week) -> dict[int, str]:
    """What settles each thing's shortage, by the thing's id."""
    said: dict[int, str] = {}
    for row in listed.put_in:
        until = good_through(row.batch)
        shelf = week.shelves.get(int(row.shelf))
        told = {
            "count": row.count,
            "thing": row.thing.name,
            "shelf": shelf.name if shelf else row.shelf,
            "batch": row.batch.number,
            "until": _day(until, week.today) if until else "",
        }
        text = (
            _("put in %(count)d from shelf %(shelf)s")
            if row.instead_of is None
            else _("put in %(count)d %(thing)s instead, from shelf %(shelf)s")
        ) % told
        if row.batch.number:
            text += _(", batch %(batch)s") % told
        if until:
            text += _(", good until %(until)s") % told
        wanted = row.line.thing.id
        said[wanted] = f"{said[wanted]}; {text}" if wanted in said else text
    for missing in listed.missing:
        text = _("%(count)d more is not in stock") % {"count": missing.count}
        held = said.get(missing.thing.id)
        said[missing.thing.id] = f"{held}; {text}" if held else _("none in stock here that lasts")
    return said


# ------------------------------------------------------------------------------------- other parts
def _to_order(row: rule.ToOrder, today: date) -> Row:
    text = _("%(day)s: %(units)d × %(thing)s") % {
        "day": _("Now (it is late)") if row.late else _day(row.by, today),
        "units": row.units,
        "thing": row.thing,
    }
    if row.level is not None:
        level = _("%(stock)d left; order level %(level)d") % {
            "stock": row.stock or 0,
            "level": row.level,
        }
        text += f" ({level})"
    lines = [_("for %(kits)s") % {"kits": ", ".join(row.kits)}] if row.kits else []
    return Row(text, page(f"/stock/{row.thing_id}/"), tuple(lines))


def _not_back(week: Week) -> Iterator[Row]:
    for held in week.not_back:
        who = held.person
        name = held.kit.name if held.section is None else f"{held.kit.name}, {held.section.name}"
        yield Row(
            _("%(kit)s: %(name)s %(phone)s, due %(when)s")
            % {
                "kit": name,
                "name": who.name if who else _("somebody not named"),
                "phone": who.phone if who and who.phone else _("(no phone on record)"),
                "when": _when(held.due_at, week) if held.due_at else "",
            },
            kit_page(held.kit.name),
        )
    for kit in week.lost:
        assert kit.lost_since is not None  # asked for
        yield Row(
            _("%(kit)s: lost since %(when)s")
            % {"kit": kit.name, "when": _when(kit.lost_since, week)},
            kit_page(kit.name),
        )


def _not_looked(week: Week) -> Iterator[Row]:
    for kit in sorted(week.kits, key=lambda k: (k.look_by or date.min, k.name)):
        if kit.wants_opening or (kit.look_by is not None and kit.look_by > week.horizon):
            continue
        text = (
            _("%(kit)s: nobody is on record as having looked inside")
            if kit.look_by is None
            else _("%(kit)s: look inside by %(day)s")
        ) % {"kit": kit.name, "day": _day(kit.look_by, week.today) if kit.look_by else ""}
        yield Row(text, kit_page(kit.name))


def _check(held: Held, week: Week) -> Row:
    due = (
        _("never checked") if held.day is None
        else _("due %(day)s") % {"day": _day(held.day, week.today)}
    )  # fmt: skip
    text = f"{held.lot.item.name} {held.lot.serial}".strip()
    return Row(f"{text}, {_where(held)}: {due}", _link(held))


def _undated(week: Week) -> Iterator[Row]:
    for place, rows in _by_place(week.undated).items():
        lines = tuple(_units(h) for h in rows)
        yield Row(place, _link(rows[0]), lines)


def _months(week: Week) -> Iterator[Part]:
    soon = [h for h in week.ending if h.day and (h.day - week.today).days <= rule.SOON_DAYS]
    later = [h for h in week.ending if h.day and (h.day - week.today).days > rule.SOON_DAYS]
    for heading, found in (
        (_("Out of date within 60 days"), soon),
        (_("Out of date within 90 days"), later),
    ):
        groups = sorted(
            _by_place(found).items(), key=lambda pair: min(h.day or date.max for h in pair[1])
        )
        yield Part(
            heading,
            tuple(
                Row(
                    place,
                    _link(rows[0]),
                    tuple(f"{_units(h)}: {_day(h.day, week.today)}" for h in rows if h.day),
                )
                for place, rows in groups
            ),
        )


def _by_place(found: Iterable[Held]) -> dict[str, list[Held]]:
    groups: dict[str, list[Held]] = {}
    for held in found:
        groups.setdefault(_where(held), []).append(held)
    return groups


def _where(held: Held) -> str:
    place = held.place
    return place.kit.name if place.kit else _("shelf %(shelf)s") % {"shelf": place.name}


def _units(held: Held) -> str:
    number = held.lot.number or held.lot.serial
    batch = _(", batch %(number)s") % {"number": number} if number else ""
    return f"{held.units} × {held.lot.item.name}{batch}"


def _link(held: Held) -> str:
    if held.place.kit:
        return kit_page(held.place.kit.name)
    return page(f"/stock/at/{held.place.pk}/{held.lot.pk}/")


# ------------------------------------------------------------------------------------------ words
def _day(day: date, today: date) -> str:
    """A date in words, with its weekday, and its year where it is not this one."""
    if day == date.max:
        return _("no limit")
    near = abs((day - today).days) < 300 and day.year == today.year
    # Django's letters for a day of the week in short, a day, a month and a year.
    form = pgettext("date format", "D j F") if near else pgettext("date format", "D j F Y")
    return formats.date_format(day, form)


def _when(instant: datetime, week: Week) -> str:
    local = instant.astimezone(ZoneInfo(week.zone))
    return f"{_day(local.date(), week.today)}, {local:%H:%M}"


# --------------------------------------------------------------------------------- the attachment
def picks(week: Week) -> list[tuple[rule.KitWeek, RestockList]]:
    """The kits that something from a shelf goes into."""
    return [
        (k, k.restock)
        for k in rule.by_urgency((k for k in week.kits if not k.fit), week.today)
        if k.restock is not None and (k.restock.put_in or _filled(k.restock.fill_up))
    ]


def _filled(rows: Iterable[FillUp]) -> list[FillUp]:
    return [row for row in rows if row.shelf is not None]
