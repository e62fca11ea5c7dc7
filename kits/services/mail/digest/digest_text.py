"""What a weekly email says, in the order of what matters, and nothing cut."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date

from django.utils.translation import gettext as _, ngettext

from gearroom.core.rules.grouping import grouped
from kits.models import PackingListVersion
from kits.rules.ledger.reasons import ReasonCode
from kits.rules.mail import digest as rule
from kits.rules.mail.plain_text import SHORT_WORDS, Letter, LetterRow, Part, words
from kits.rules.restocking.picking import RestockList
from kits.services.lists import look_again, signatures
from kits.services.mail import notice_texts
from kits.services.mail.digest import digest_kits, digest_rotation
from kits.services.mail.digest.digest_week import BatchInPlace, Week
from kits.services.notices import kit_page, page, signature_token
from kits.services.notices.texts import recalls as recall_texts
from kits.services.recalls import recall_notices
from kits.services.text import change_texts
from kits.services.text.days import day, duration, moment
from kits.services.text.order_texts import overdue
from kits.services.text.planning import season_money_texts

ORDER_WEEKS = 26
"""For so many weeks the page that a row leads to works out what to order."""
_NAMED = 3
"""Kits to open that stand in short; the rest is counted."""


def letter(week: Week) -> Letter:
    """What the email says, in the order of what matters. What stands above the details is read in a
    minute: where it would be longer, what is to be done for the soonest departure is below too."""
    whole = _letter(week, brief=False)
    above = words(replace(whole, parts=(), closing=()))
    return whole if above <= SHORT_WORDS else _letter(week, brief=True)


def _letter(week: Week, *, brief: bool) -> Letter:
    to_open = rule.by_urgency((k for k in week.kits if k.wants_opening), week.today)
    unready = rule.departures_not_ready(week.kits, week.today)
    alarms = (*_recalled(week), *notice_texts.rows(week.medicines))
    first = tuple(
        digest_kits.departure(kit, kit.going, week, brief=brief)
        for kit in unready[:1]
        if kit.going is not None
    )
    above = [] if brief else unready[:1]  # it stands there with all
    others = [k for k in week.kits if k not in above]
    counted = {kit.pk for job in week.to_count for kit in job.kits}  # these stand by themselves
    rest = [k for k in to_open if k in others and k.id not in counted]
    parts = [
        Part(_("Kits to open"), tuple(digest_kits.to_open(k, week) for k in rest)),
        Part(_("Still out but needed for a trip"), tuple(digest_kits.still_out(week, others))),
        Part(_("Count"), tuple(digest_kits.to_count(week))),
        Part(_("Use these first"), tuple(digest_rotation.rows(week))),
        Part(
            _("Old editions to replace"),
            tuple(digest_kits.old_editions(week, [*above, *rest])),
        ),
        Part(_("Because of the weather"), tuple(digest_kits.weather(week))),
        Part(_("Order by"), tuple(_to_order(week))),
        Part(_("Ordered but not here yet"), tuple(_not_arrived(week))),
        Part(_("Lists waiting for your signature"), tuple(_to_sign(week))),
        Part(_("Signatures expiring soon"), tuple(_signatures_end(week))),
        Part(_("Not carried: due for review"), tuple(_look_again(week))),
        Part(_("Changes to kit lists: due for review"), tuple(_changes_due(week))),
        Part(_("Not back"), tuple(_not_back(week))),
        Part(_("Approved by phone, not confirmed"), tuple(_uncleared(week))),
        Part(_("Items that may be returned"), tuple(digest_kits.may_come_back(week))),
        Part(_("Needed but not in the kit"), tuple(digest_kits.unmet(week))),
        Part(_("Contents not checked for a year"), tuple(_not_looked(week))),
        Part(_("Checks due"), tuple(_check(h, week) for h in week.checks)),
        Part(_("Expiry date not known"), tuple(_undated(week))),
        Part(_("Ready, low on some items"), tuple(digest_kits.low(week))),
        Part(_("To dispose of when the kit is next opened"), tuple(digest_kits.to_bin(week))),
        Part(_("Not set up yet"), tuple(digest_kits.not_set_up(week))),
        Part(_("Also this week"), notice_texts.rows(week.held_back)),
        *_months(week),
    ]
    visible = tuple(part for part in parts if part.rows)
    nothing_to_do = _("Nothing to do. %(looked)s") if week.kits else _("Nothing to do.")
    nothing = not (alarms or first or visible or week.off_shelves)
    whole = Letter(
        subject=subject(week, unready, to_open),
        alarms=alarms,
        first=(LetterRow(nothing_to_do % {"looked": _looked(week)}),) if nothing else first,
        parts=visible,
        closing=tuple(_closing(week, nothing=nothing)),
    )
    if words(whole) <= SHORT_WORDS:
        return whole
    return replace(whole, first=(*first, _in_short(week, rest, visible)))


def _in_short(week: Week, to_open: Sequence[rule.KitWeek], parts: Sequence[Part]) -> LetterRow:
    """What is below, in a minute: what to open before when, then how much of each kind."""
    lines = []
    if to_open:
        kits = [digest_kits.open_when(kit, week) for kit in to_open]
        more = _("and %(count)d more") % {"count": len(kits) - _NAMED}
        lines.append(
            _("%(heading)s: %(kits)s")
            % {
                "heading": parts[0].heading,
                "kits": "; ".join(kits[:_NAMED] + [more] * bool(kits[_NAMED:])),
            }
        )
    counted = parts[1:] if to_open else parts
    lines += [f"{part.heading}: {sum(map(_things, part.rows))}" for part in counted]
    return LetterRow(_("The rest in brief:"), "", tuple(lines))


def _things(row: LetterRow) -> int:
    """How many things a row lists: its lines, where it is a heading of them."""
    return len(row.lines) if not row.verdicts and row.lines else 1


def _closing(week: Week, *, nothing: bool) -> Iterator[str]:
    if not nothing and week.kits:
        yield _looked(week)
    if week.off_shelves:
        yield ngettext(
            "%(count)d batch on the shelves is out of date: it is on the attached list.",
            "%(count)d batches on the shelves are out of date: they are on the attached list.",
            len(week.off_shelves),
        ) % {"count": len(week.off_shelves)}
    if money := season_money_texts.line(week.money, week.today):
        yield money
    if picks(week) or week.off_shelves:
        yield _("The attached list shows what to take from which shelf, in shelf order.")
    yield _(
        "This program keeps track of stock and does the arithmetic; it does not give medical "
        "advice. Look at every pack before use."
    )


def subject(week: Week, unready: Sequence[rule.KitWeek], to_open: Sequence[rule.KitWeek]) -> str:
    """How kits stand for this week's trips, how long the work takes, what must be ordered by
    when."""
    to_sign = len(week.to_sign)
    of_lists = (
        (
            to_sign,
            ngettext(
                "%(count)d kit list is waiting for your signature",
                "%(count)d kit lists are waiting for your signature",
                to_sign,
            )
            % {"count": to_sign},
        ),
        (week.signatures_end, _("One of your signatures expires soon")),
        (week.look_again, _("Something that is not carried is due for review")),
        (week.changes_due, _("A change to kit lists is due for review")),
    )
    parts = [_("RECALL waiting for an answer")] if week.recalled else []
    parts += [text for there, text in of_lists if there][:1]
    if week.kits or week.rooms:
        parts.append(digest_kits.trips(week, unready))
    elif not parts:
        parts.append(_("Nothing to do"))
    if to_open:
        parts.append(_("%(time)s of work") % {"time": duration(len(to_open) * week.minutes_a_kit)})
    if week.order:
        parts.append(
            ngettext(
                "order %(count)d item by %(day)s", "order %(count)d items by %(day)s",
                len(week.order),
            ) % {"count": len(week.order), "day": day(week.order[0].by, week.today)}
        )  # fmt: skip
    return "; ".join(parts)


def _looked(week: Week) -> str:
    """One line that shows it looked."""
    text = ngettext(
        "%(count)d kit checked for trips up to %(day)s",
        "%(count)d kits checked for trips up to %(day)s",
        len(week.kits),
    ) % {"count": len(week.kits), "day": day(week.horizon, week.today)}
    if oldest := min(filter(None, (k.look_by for k in week.kits)), default=None):
        text += _("; next contents check due by %(day)s") % {"day": day(oldest, week.today)}
    return f"{text}."


# ----------------------------------------------------------------------------------------- alarms
def _recalled(week: Week) -> Iterator[LetterRow]:
    """A row for each recall that kits wait under, with all of them."""
    for rows in week.recalled:
        recall = rows[0][0].recall
        facts, kits = recall_notices.facts_of(recall), recall_notices.kits_of_rows(rows)
        lines = recall_texts.lines(facts, kits, week.person.pk)
        yield LetterRow(
            recall_texts.sentence(facts, kits), page(f"/stock/recalls/{recall.pk}/"), tuple(lines)
        )


# ------------------------------------------------------------------------------------- other parts
def _to_order(week: Week) -> Iterator[LetterRow]:
    """What to order, a row for each day and room."""
    late = _("Now (already late)")
    groups = grouped(
        ((late if row.late else day(row.by, week.today), row.room), row) for row in week.order
    )
    for (when, room), rows in groups.items():
        text = _("%(day)s, for %(room)s") % {"day": when, "room": room}
        to = page(f"/stock/order/?weeks={ORDER_WEEKS}&room={rows[0].room_slug}")
        yield LetterRow(text, to, tuple(map(_ordered, rows)))


def _not_arrived(week: Week) -> Iterator[LetterRow]:
    """What was ordered and expected before today, and is not here."""
    for line in week.overdue_orders:
        text = _("%(units)d × %(thing)s from %(supplier)s, for %(room)s: %(late)s") % {
            "units": line.units,
            "thing": line.item.name,
            "supplier": line.supplier,
            "room": line.room.name,
            "late": overdue(ordered_on=line.ordered_on, expected_on=line.expected_on),
        }
        yield LetterRow(text, page(f"/stock/order/{line.line.order_id}/"))


def _ordered(row: rule.ToOrder) -> str:
    text = _("%(units)d × %(thing)s") % {"units": row.units, "thing": row.thing}
    if row.level is not None:
        facts = {"stock": row.stock or 0, "level": row.level}
        text += f" ({_('%(stock)d left; order level %(level)d') % facts})"
    if row.kits:
        text += _(", for %(kits)s") % {"kits": ", ".join(row.kits)}
    if row.supplier:
        text += _(", from %(supplier)s") % {"supplier": row.supplier}
    if row.on_order:
        text += _(", besides %(units)d on order") % {"units": row.on_order}
    return text


def _to_sign(week: Week) -> Iterable[LetterRow]:
    return (
        LetterRow(_of_list(version), page(f"/lists/{version.packing_list_id}/{version.number}/"))
        for version in week.to_sign
    )


def _signatures_end(week: Week) -> Iterator[LetterRow]:
    for version, until in week.signatures_end:
        text = _("%(list)s is valid until %(day)s. Extend it with one tap.") % {
            "list": _of_list(version),
            "day": day(until, week.today),
        }
        token = signature_token(version.pk, week.person.pk, until)
        yield LetterRow(text, page(f"/sign/{token}/"))


def _look_again(week: Week) -> Iterator[LetterRow]:
    for due in week.look_again:
        version = due.version
        address = f"/lists/{version.packing_list_id}/{version.number}/#not-carried"
        lines = [look_again.says(line, week.today) for line in due.lines]
        yield LetterRow(_of_list(version), page(address), tuple(lines))


def _changes_due(week: Week) -> Iterator[LetterRow]:
    for change in week.changes_due:
        lists = dict.fromkeys(row.version.packing_list.name for row in change.versions.all())
        text = f"{change_texts.what(change)} ({', '.join(lists)})"
        says = change_texts.review(change, week.today)
        yield LetterRow(text, page(f"/lists/changes/{change.pk}/"), (says,))


def _of_list(version: PackingListVersion) -> str:
    following = signatures.following(version)
    return ngettext(
        "%(list)s, version %(number)d, used by %(kits)d kit",
        "%(list)s, version %(number)d, used by %(kits)d kits",
        following,
    ) % {"list": version.packing_list.name, "number": version.number, "kits": following}


def _not_back(week: Week) -> Iterator[LetterRow]:
    for held, due_at in week.not_back:
        who = held.person
        text = (
            _("%(kit)s: you have it, due back %(when)s")
            if who == week.person
            else _("%(kit)s: %(name)s (%(phone)s), due back %(when)s")
        )
        facts = {
            "kit": held.what,
            "name": who.name if who else _("an unnamed person"),
            "phone": who.phone if who and who.phone else _("no phone on record"),
            "when": moment(due_at, week.zone, week.today),
        }
        yield LetterRow(text % facts, kit_page(held.kit.name))
    for kit, since in week.lost:
        text = _("%(kit)s: lost since %(when)s")
        facts = {"kit": kit.name, "when": moment(since, week.zone, week.today)}
        yield LetterRow(text % facts, kit_page(kit.name))


def _uncleared(week: Week) -> Iterator[LetterRow]:
    for each in week.uncleared:
        text = (
            _("%(kit)s, %(when)s: confirm whether you approved taking it")
            if each.person == week.person
            else _("%(kit)s, %(when)s: ask %(name)s (%(phone)s) whether they approved taking it")
        )
        facts = {
            "kit": each.checkout.kit.name,
            "when": moment(each.entry.occurred_at, week.zone, week.today),
            "name": each.person.name,
            "phone": each.person.phone or _("no phone on record"),
        }
        yield LetterRow(text % facts, page("/clearances/"))


def _not_looked(week: Week) -> Iterator[LetterRow]:
    for kit in sorted(week.kits, key=lambda k: (k.look_by or date.min, k.name)):
        if kit.wants_opening or (kit.look_by is not None and kit.look_by > week.horizon):
            continue
        text = (
            _("%(kit)s: no contents check on record")
            if kit.look_by is None
            else _("%(kit)s: check contents by %(day)s")
        ) % {"kit": kit.name, "day": day(kit.look_by, week.today) if kit.look_by else ""}
        yield LetterRow(text, kit_page(kit.name))


def _check(held: BatchInPlace, week: Week) -> LetterRow:
    if held.fault is ReasonCode.CHECK_FAILED:
        due = _("failed its check")
    elif held.day is None:
        due = _("never checked")
    else:
        due = _("due %(day)s") % {"day": day(held.day, week.today)}
    text = f"{held.lot.item.name} {held.lot.serial}".strip()
    return LetterRow(f"{text}, {_where(held)}: {due}", _link(held))


def _undated(week: Week) -> Iterable[LetterRow]:
    return (
        LetterRow(place, _link(rows[0]), tuple(map(_units, rows)))
        for place, rows in grouped((_where(h), h) for h in week.undated).items()
    )


def _months(week: Week) -> Iterator[Part]:
    soon = [h for h in week.ending if h.day and (h.day - week.today).days <= rule.SOON_DAYS]
    later = [h for h in week.ending if h.day and (h.day - week.today).days > rule.SOON_DAYS]
    for heading, batches in (
        (_("Going out of date within 60 days"), soon),
        (_("Going out of date within 90 days"), later),
    ):
        groups = sorted(
            grouped((_where(h), h) for h in batches).items(),
            key=lambda pair: min(h.day or date.max for h in pair[1]),
        )
        yield Part(
            heading,
            tuple(
                LetterRow(
                    place,
                    _link(rows[0]),
                    tuple(f"{_units(h)}: {day(h.day, week.today)}" for h in rows if h.day),
                )
                for place, rows in groups
            ),
        )


def _where(held: BatchInPlace) -> str:
    place = held.place
    return place.kit.name if place.kit else _("shelf %(shelf)s") % {"shelf": place.name}


def _units(held: BatchInPlace) -> str:
    number = held.lot.number or held.lot.serial
    batch = _(", batch %(number)s") % {"number": number} if number else ""
    return f"{held.units} × {held.lot.item.name}{batch}"


def _link(held: BatchInPlace) -> str:
    if held.place.kit:
        return kit_page(held.place.kit.name)
    return page(f"/stock/at/{held.place.pk}/{held.lot.pk}/")


# --------------------------------------------------------------------------------- the attachment
def picks(week: Week) -> list[tuple[rule.KitWeek, RestockList]]:
    """The kits that something from a shelf goes into."""
    return [
        (k, k.restock)
        for k in rule.by_urgency((k for k in week.kits if k.wrong), week.today)
        if k.restock is not None
        and (k.restock.put_in or any(row.shelf is not None for row in k.restock.fill_up))
    ]
