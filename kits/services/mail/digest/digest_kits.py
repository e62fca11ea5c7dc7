"""Kits in the weekly email: how each stands, for which day and trip, and what settles it; what to
count, what may come back, what was needed and not carried, and what the weather asks for."""

from collections.abc import Iterable, Iterator, Sequence

from django.utils.text import capfirst
from django.utils.translation import gettext as _, ngettext

from gearroom.core.rules.grouping import grouped
from kits.rules.ledger import ReasonCode, Weight, good_through
from kits.rules.mail import digest as rule
from kits.rules.mail.plain_text import LetterRow, VerdictLine
from kits.rules.restocking.picking import PutIn, RestockList
from kits.rules.trips.trips import Stand
from kits.services.mail.digest.digest_week import Week
from kits.services.notices.notice_text import kit_page, page
from kits.services.rotation.editions import OldEdition
from kits.services.text import reason_texts, verdict_texts, weather_texts
from kits.services.text.days import day, moment


def departure(
    kit: rule.KitWeek, going: rule.Going, week: Week, *, brief: bool = False
) -> LetterRow:
    """The soonest departure, kit, when, who leads, what it is, how many, what is wrong, what
    settles it; `brief`: without the last two, which stand below."""
    text = _("%(when)s: %(kit)s for %(trip)s, %(leader)s, %(people)d people.") % {
        "when": moment(going.departs_at, week.zone, week.today),
        "kit": kit.name,
        "trip": going.name,
        "leader": _leader(going, week),
        "people": going.people,
    }
    out = [f"{capfirst(_has_it(kit, week))}."] if kit.out else []
    return LetterRow(
        text,
        kit_page(kit.name),
        (*out, *([] if brief else _wrong(kit, week))),
        verdict_lines(kit, week)[: 1 if brief else None],
    )


def _leader(going: rule.Going, week: Week) -> str:
    if going.leader_id == week.person.pk:
        return _("led by you")
    return " ".join(filter(None, (going.leader or _("no leader on record"), going.phone)))


def trips(week: Week, unready: Sequence[rule.KitWeek]) -> str:
    """How the kits stand for this week's trips."""
    leaving = rule.departures(week.kits, week.today)
    unknown = sum(not answer.verdict.set_up for answer in leaving)
    out = sum(answer.elsewhere is not None for answer in leaving)
    cases = (
        (
            len(unready),
            ngettext(
                "%(count)d kit not ready for this week’s trips",
                "%(count)d kits not ready for this week’s trips",
                len(unready),
            ),
        ),
        (not leaving, _("No kit is reserved for a trip this week")),
        (
            unknown,
            ngettext(
                "%(count)d kit for this week’s trips is not set up yet",
                "%(count)d kits for this week’s trips are not set up yet",
                unknown,
            ),
        ),
        (
            out,
            ngettext(
                "%(count)d kit for this week’s trips is still out",
                "%(count)d kits for this week’s trips are still out",
                out,
            ),
        ),
    )
    ready = _("Every kit for this week’s trips is ready")
    return next((text % {"count": count} for count, text in cases if count), ready)


def to_open(kit: rule.KitWeek, week: Week) -> LetterRow:
    """A kit that wants something done inside: before when, what, and who has it."""
    text = f"{kit.name}: {_before(kit, week)}"
    if kit.out:
        text += f" ({_has_it(kit, week)})"
    return LetterRow(text, kit_page(kit.name), tuple(_wrong(kit, week)), verdict_lines(kit, week))


def open_when(kit: rule.KitWeek, week: Week) -> str:
    """A kit and the day before which it is to be opened."""
    before = rule.open_before(kit, week.today)
    if before <= week.today and kit.going is None:
        return _("%(kit)s now") % {"kit": kit.name}
    return _("%(kit)s before %(day)s") % {"kit": kit.name, "day": day(before, week.today)}


def _before(kit: rule.KitWeek, week: Week) -> str:
    before = rule.open_before(kit, week.today)
    if kit.going is not None:
        return _("before %(when)s, %(trip)s") % {
            "when": moment(kit.going.departs_at, week.zone, week.today),
            "trip": kit.going.name,
        }
    if before <= week.today:
        return _("now")
    return _("before %(day)s") % {"day": day(before, week.today)}


def _has_it(kit: rule.KitWeek, week: Week) -> str:
    facts = {"name": kit.out_to or _("an unnamed person")}
    if kit.due_back is None:
        return _("you have it") if kit.out_to_reader else _("%(name)s has it") % facts
    facts["when"] = moment(kit.due_back, week.zone, week.today)
    if kit.out_to_reader:
        return _("you have it, due back %(when)s") % facts
    return _("%(name)s has it, due back %(when)s") % facts


def still_out(week: Week, kits: Iterable[rule.KitWeek]) -> Iterator[LetterRow]:
    """Those of these kits that are out on something else, and go on a trip this week."""
    last = rule.week_end(week.today)
    for kit in kits:
        for answer in kit.answers:
            going = answer.going
            if going is None or answer.elsewhere is None or going.first_day > last:
                continue
            text = _("%(kit)s for %(trip)s, %(when)s: %(who)s") % {
                "kit": kit.name,
                "trip": going.name,
                "when": moment(going.departs_at, week.zone, week.today),
                "who": _has_it(kit, week),
            }
            late = answer.elsewhere is Stand.AWAY
            yield LetterRow(
                text, kit_page(kit.name), (_("That is too late to sort the kit."),) if late else ()
            )


def low(week: Week) -> Iterable[LetterRow]:
    """Kits that are ready, and low on something."""
    return (
        LetterRow(kit.name, kit_page(kit.name), (), verdict_lines(kit, week))
        for kit in week.kits
        if kit.low
    )


def to_bin(week: Week) -> Iterator[LetterRow]:
    """What is out of date in kits and does not stop them."""
    for kit in week.kits:
        if kit.to_bin:
            things = ", ".join(f"{r.facts['count']} × {r.facts['thing']}" for r in kit.to_bin)
            yield LetterRow(f"{kit.name}: {things}", kit_page(kit.name))


def not_set_up(week: Week) -> Iterator[LetterRow]:
    """Kits that nobody entered the contents of, in one row."""
    if names := [kit.name for kit in week.kits if not kit.set_up]:
        text = ngettext(
            "%(kits)s: no contents entered yet.",
            "%(kits)s: no contents entered yet.",
            len(names),
        )
        yield LetterRow(text % {"kits": ", ".join(names)}, page("/kits/"))


def verdict_lines(kit: rule.KitWeek, week: Week) -> tuple[VerdictLine, ...]:
    """A kit's verdicts with the days and trips judged, the first expiry beside the first."""
    expiry = verdict_texts.first_expiry(kit.first_expiry)
    return tuple(
        VerdictLine(
            text=verdict_texts.verdict(answer.verdict),
            judged=_judged(answer, week),
            beside="" if n else expiry,
            kit=kit.name,
            through=answer.verdict.through.isoformat(),
            trip=str(answer.trip or ""),
            verdict=str(answer.verdict.word),
        )
        for n, answer in enumerate(kit.answers)
    )


def _judged(answer: rule.Answer, week: Week) -> str:
    facts = {"day": day(answer.verdict.through, week.today), "trip": answer.on}
    if answer.trip is None:
        return _("status for %(day)s") % facts
    return _("status for %(day)s, %(trip)s") % facts


def _wrong(kit: rule.KitWeek, week: Week) -> list[str]:
    """Everything that stands against a kit with what settles it, then all else to put in while
    it is open."""
    listed = kit.restock
    swaps = settles(listed, week) if listed else {}
    lines, named = [], set()
    reasons = [reason for reason in kit.reasons if reason.weight is not Weight.NOTE]
    lacking = {r.facts.get("thing_id") for r in reasons if r.code != ReasonCode.TAKE_OUT}
    for reason in reasons:
        # What goes in stands with what is lacking, not once more with what comes out.
        once = reason.code == ReasonCode.TAKE_OUT and reason.facts.get("thing_id") in lacking
        lines.append(reason_texts.reason(reason, {} if once else swaps)["text"])
        named.add(reason.facts.get("thing_id"))
    if listed is not None:
        for row in listed.put_in:
            thing = row.line.thing
            if thing.id not in named:
                named.add(thing.id)
                lines.append(f"{thing.name}: {swaps[thing.id]}.")
    lines += [_replace_edition([row]) for row in week.old_editions.get(kit.id, ())]
    return lines


def old_editions(week: Week, open_anyway: Iterable[rule.KitWeek]) -> Iterator[LetterRow]:
    """Old editions in the kits that are not opened for anything else this week: a row for all that
    are replaced alike."""
    named = {kit.id for kit in open_anyway}
    alike = grouped(
        ((row.lot.pk, row.current.pk, row.shelf), row)
        for kit, rows in week.old_editions.items()
        if kit not in named
        for row in rows
    )
    for rows in alike.values():
        kits = ", ".join(dict.fromkeys(row.kit.name for row in rows))
        yield LetterRow(
            f"{kits}: {_replace_edition(rows)}", page(f"/stock/{rows[0].lot.item_id}/#editions")
        )


def _replace_edition(rows: Sequence[OldEdition]) -> str:
    """What to replace by what, of units that are replaced alike."""
    row = rows[0]
    facts = {
        "count": sum(each.units for each in rows),
        "thing": row.lot.item.name,
        "old": _edition(row.lot.number),
        "new": _edition(row.current.number),
        "shelf": row.shelf.where if row.shelf else "",
    }
    text = (
        _("%(count)d × %(thing)s: replace %(old)s with %(new)s from %(shelf)s.")
        if row.shelf
        else _("%(count)d × %(thing)s: %(old)s is old; print or receive %(new)s.")
    )
    return text % facts


def _edition(number: str) -> str:
    if not number:
        return _("an edition without a number")
    return _("edition %(number)s") % {"number": number}


def settles(listed: RestockList, week: Week) -> dict[int, str]:
    """What settles each thing's shortage, by the thing's id."""
    texts = grouped((row.line.thing.id, _put_in(row, week)) for row in listed.put_in)
    for missing in listed.missing:
        texts[missing.thing.id].append(
            _("%(count)d more not in stock") % {"count": missing.count}
            if texts[missing.thing.id]
            else _("none in stock here that stays in date long enough")
        )
    return {thing: "; ".join(of_thing) for thing, of_thing in texts.items()}


def _put_in(row: PutIn, week: Week) -> str:
    until = good_through(row.batch)
    shelf = week.shelves.get(int(row.shelf))
    facts = {
        "count": row.count,
        "thing": row.thing.name,
        "shelf": shelf.where if shelf else row.shelf,
        "batch": row.batch.number,
        "until": day(until, week.today) if until else "",
    }
    texts = [
        _("put in %(count)d from shelf %(shelf)s")
        if row.instead_of is None
        else _("put in %(count)d %(thing)s instead, from shelf %(shelf)s"),
        _(", batch %(batch)s") if row.batch.number else "",
        _(", good until %(until)s") if until else "",
    ]
    return "".join(texts) % facts


# -------------------------------------------------------------------- what the evenings brought
def to_count(week: Week) -> Iterator[LetterRow]:
    """A row a job: kits that were mixed up, together; those of which nobody said what was used."""
    for job in week.to_count:
        names = ", ".join(kit.name for kit in job.kits)
        facts = {"kits": names, "when": moment(job.since, week.zone, week.today)}
        text = (
            _("%(kits)s: contents mixed up, %(when)s")
            if job.mixed
            else _("%(kits)s: handed back %(when)s, but nobody has entered what was used")
        )
        yield LetterRow(text % facts, kit_page(job.kits[0].name))


def may_come_back(week: Week) -> Iterator[LetterRow]:
    """What went with a casualty, in one row."""
    things = [f"{row.units} × {row.lot.item.name} ({row.kit.name})" for row in week.away]
    if things:
        yield LetterRow(", ".join(things), page("/away/"))


def unmet(week: Week) -> Iterator[LetterRow]:
    """A row a kit: what it was needed for and did not have."""
    by_kit = grouped(
        (need.entry.kit.name, f"{need} ({need.entry.trip.name})" if need.entry.trip else str(need))
        for need in week.unmet
        if need.entry.kit is not None
    )
    return (
        LetterRow(f"{kit}: {', '.join(things)}", kit_page(kit))
        for kit, things in sorted(by_kit.items())
    )


# ------------------------------------------------------------------------------------- the weather
def weather(week: Week) -> Iterator[LetterRow]:
    """What has to leave a kit or a shelf for the weather where it is, or may be put back."""
    for job in week.weather:
        to = page(f"/rooms/{job.location.room.slug}/weather/#{job.anchor}")
        facts = {"what": job.name, "location": job.location.name}
        if job.out:
            caution = [str(weather_texts.BEGUN)] if job.begun else []
            text = _("%(what)s, %(location)s: move out") % facts
            yield LetterRow(text, to, (*job.says_out(week.today), *caution))
        if job.back:
            caution = [str(weather_texts.EXPOSED)] if job.exposed else []
            text = _("%(what)s, %(location)s: may be put back") % facts
            yield LetterRow(text, to, (*job.says_back(), *caution))
