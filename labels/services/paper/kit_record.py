"""A kit's record for an inspector, an insurer or whoever has to answer for it, as PDF."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils import formats
from django.utils.translation import gettext as _

from gearroom.core import clock
from kits.models import PackingListVersion, Recall
from kits.rules.ledger import Level
from kits.services.kits.history import Content
from kits.services.kits.inspection import Act, Inspection
from kits.services.kits.record import Checked, ListedItem, Pouch
from kits.services.lists import not_carried
from kits.services.lists.not_carried import NotCarriedDraft
from kits.services.text import irregular_texts, reason_texts, verdict_texts
from kits.services.text.planning import not_carried_texts
from kits.services.text.wording import act as act_in_words, day, short_day, withheld
from labels import printing
from labels.printing import Document, Part, Table
from labels.services.paper.printer import job, pdf_of

_ACTS = (2.6, 2.4, 2.4, 6.0)
"""How wide the columns of acts are: when, what, who, notes."""


def kit_record(of: Inspection) -> bytes:
    """The record on A4, in the language in force."""
    here = job(preview=True)
    document = _Texts(of).document(here.organisation)
    return pdf_of(lambda out: printing.document_pdf(document, out=out, job=here))


class _Texts:
    """What stands in a kit's record."""

    def __init__(self, of: Inspection) -> None:
        self._of, self._record, self._zone = of, of.record, of.kit.home_room.time_zone

    def document(self, organisation: str) -> Document:
        """All of it, in the order in which it is read."""
        of = self._of
        parts = [
            self._summary(),
            *(self._pouch(pouch) for pouch in self._record.pouches),
            self._instruments(),
            self._not_carried(),
            self._acts(_("Who had it"), of.custody),
            self._acts(_("Seals"), of.seals, seals=True),
            self._acts(_("Checks and counts"), of.looks),
            self._recalls(),
            self._acts(_("Corrections, and what was done against the rules"), of.irregular),
        ]
        return Document(
            title=_("%(name)s on %(day)s")
            % {"name": self._record.inside.name, "day": day(self._record.day)},
            notes=[
                ", ".join(filter(None, (organisation, of.kit.home_room.name))),
                _("As known by %(time)s. What was recorded or corrected later is not in it.")
                % {"time": self._when(self._record.inside.known_by)},
                _("What was done is listed from %(since)s to %(day)s.")
                % {"since": short_day(of.since), "day": short_day(self._record.day)},
            ],
            caution=_(
                "This is a record of what was entered, not medical advice. The contents of a kit, "
                "and who may use it, are decided by the organisation’s medical adviser, its "
                "protocols, local law and each person’s training. Look at every pack before use."
            ),
            parts=parts,
        )

    # ---------------------------------------------------------------------------------- as of then
    def _summary(self) -> Part:
        record, inside = self._record, self._record.inside
        rows = [
            (_("Status"), verdict_texts.verdict(self._of.verdict)),
            (_("Kit list"), f"{record.version}. {_signature(record.version, record.signed)}"),
            (
                _("Person responsible"),
                record.responsible.name if record.responsible else _("nobody yet"),
            ),
            (_("Seal on that day"), inside.seal or _("none on record")),
            (_("Who had it"), inside.holder or _("nobody: it was not out")),
            (_("Last checked"), self._last_look()),
        ]
        if record.withheld:
            rows.append((_("On hold"), ", ".join(map(withheld, record.withheld))))
        reasons = [reason["text"] for reason in reason_texts.reasons(self._of.verdict.reasons)] or [
            _("Nothing was missing.")
        ]
        rows.append((_("Reasons"), "\n".join(reasons)))
        return Part(_("Status on that day"), table=Table(("", ""), (1.0, 3.2), rows))

    def _last_look(self) -> str:
        look = self._record.looked_inside
        if look is None:
            return _("no check on record")
        texts = [self._when(look.occurred_at), look.person.name if look.person else ""]
        until = self._record.look_by
        by = _("Next check by %(day)s.") % {"day": day(until)} if until else ""
        return f"{', '.join(filter(None, texts))}. {by}"

    def _pouch(self, pouch: Pouch) -> Part:
        rows = [self._listed(row) for row in pouch.listed]
        rows += [
            (
                _("%(item)s (not on the list)") % {"item": line.lot.item.name},
                "",
                "",
                "",
                self._batch(line, line.lot.item_id),
            )
            for line in pouch.others
        ]
        headings = (
            _("On the list"),
            _("Carry"),
            _("Minimum"),
            _("Usable"),
            _("Batches inside, with expiry dates"),
        )
        empty = () if rows else (_("No contents on record."),)
        return Part(pouch.name, empty, Table(headings, (4.2, 1.2, 1.6, 1.5, 6.0), rows))

    def _listed(self, row: ListedItem) -> Sequence[str]:
        name = f"{row.item.name}: {_('too few')}" if row.short else row.item.name
        if row.item.by_eye:
            return (name, "", "", _level(row.level), _("loose"))
        good = str(row.good)
        if row.there > row.good:
            good += " " + _("of %(there)s") % {"there": row.there}
        batches = "\n".join(self._batch(line, row.item.pk) for line in row.batches)
        return (name, str(row.carry), str(row.never_below), good, batches)

    def _batch(self, line: Content, listed: int) -> str:
        lot = line.lot
        texts = [lot.item.name] if lot.item_id != listed else []
        texts.append(line.number or lot.serial or _("no number"))
        if line.good_until:
            texts.append(short_day(line.good_until))
            if line.good_until < self._record.day:
                texts.append(_("out of date"))
        else:
            texts.append(_("expiry date not known") if lot.item.needs_date else _("no expiry date"))
        if lot.pk in self._record.recalled:
            texts.append(_("recalled by its maker"))
        return f"{line.units} × {', '.join(texts)}"

    def _instruments(self) -> Part:
        rows = [self._checked(each) for each in self._record.instruments]
        headings = (_("Instrument"), _("Last checked"), _("Result"), _("Next check by"))
        empty = () if rows else (_("There was no instrument inside."),)
        return Part(_("Checks"), empty, Table(headings, (4.0, 2.4, 5.0, 2.4), rows))

    def _checked(self, each: Checked) -> Sequence[str]:
        name = f"{each.lot.item.name} {each.lot.serial}"
        if (check := each.check) is None:
            return (name, _("no check on record"), "", "")
        result = _("passed") if check.passed else _("failed")
        who = check.checked_by.name if check.checked_by else ""
        due = short_day(check.due_on) if check.due_on else ""
        texts = ", ".join(filter(None, (result, check.answer, who)))
        return (name, short_day(check.checked_on), texts, due)

    def _not_carried(self) -> Part:
        names = not_carried.activity_names() if self._of.not_carried else {}
        rows = [
            (
                not_carried_texts.name(line.item, line.need),
                not_carried_texts.why(line.why, line.words),
                "\n".join(_otherwise(line, not_carried_texts.when(*line.when, names))),
            )
            for line in self._of.not_carried
        ]
        headings = (_("Item or need"), _("Why"), _("Instead, and when it is carried"))
        empty = () if rows else (_("The kit list leaves nothing out on purpose."),)
        return Part(_("Not carried"), empty, Table(headings, (3.0, 5.0, 5.0), rows))

    # ---------------------------------------------------------------------------- what had happened
    def _acts(self, heading: str, acts: Sequence[Act], *, seals: bool = False) -> Part:
        rows = [
            (
                self._when(act.entry.occurred_at),
                act_in_words(act.entry.kind),
                _person(act),
                "\n".join((*(_seals(act) if seals else ()), *self._notes(act))),
            )
            for act in acts
        ]
        headings = (_("When"), _("What"), _("Who"), _("Notes"))
        empty = () if rows else (_("Nothing on record for this period."),)
        return Part(heading, empty, Table(headings, _ACTS, rows))

    def _notes(self, act: Act) -> Iterator[str]:
        entry = act.entry
        if entry.trip:
            yield entry.trip.name
        for check in entry.checks.all():
            result = _("passed") if check.passed else _("failed")
            yield f"{check.lot.item.name} {check.lot.serial}: {result}"
        if entry.reason:
            yield entry.reason
        if entry.incident:
            yield _("Incident %(reference)s") % {"reference": entry.incident}
        for code in entry.irregular:
            yield irregular_texts.irregular(code)
        if entry.reverses_id:
            yield _("Undoes record %(number)s.") % {"number": entry.reverses_id}
        if act.undone:
            yield _("Record %(number)s, undone on %(time)s.") % {
                "number": entry.pk,
                "time": self._when(act.undone.recorded_at),
            }

    def _recalls(self) -> Part:
        rows = [
            (
                self._when(each.entry.occurred_at),
                each.item.name,
                each.number or _("every batch, or not known which"),
                _ended(each),
            )
            for each in self._of.recalls
        ]
        headings = (_("When"), _("Item"), _("Batch (LOT)"), _("How it ended"))
        empty = () if rows else (_("No recall on record concerned this kit."),)
        return Part(_("Recalls"), empty, Table(headings, (2.6, 4.0, 3.0, 4.0), rows))

    def _when(self, value: datetime) -> str:
        on = short_day(clock.local_date(value, self._zone))
        local = value.astimezone(ZoneInfo(self._zone))
        return f"{on}, {formats.date_format(local, 'H:i')}"


def _signature(version: PackingListVersion, holds: bool) -> str:
    if version.signed_by is None or not version.signed_on or not version.signed_until:
        return _("Not signed by a medical adviser.")
    says = _("Signed by %(name)s on %(day)s, valid until %(until)s.") % {
        "name": version.signed_by.name,
        "day": day(version.signed_on),
        "until": day(version.signed_until),
    }
    return says if holds else f"{says} {_('The signature was not valid on that day.')}"


def _otherwise(line: NotCarriedDraft, when: str) -> Iterator[str]:
    if line.instead:
        yield line.instead
    if when:
        yield f"{_('Carried when')}: {when}"


def _level(level: Level | None) -> str:
    return {
        Level.FULL: _("full"),
        Level.LOW: _("low"),
        Level.EMPTY: _("empty"),
        None: _("not known"),
    }[level]


def _person(act: Act) -> str:
    """Who had the kit by an act; of others, who did it."""
    entry = act.entry
    has = [out.person for out in entry.checkouts_opened.all()]
    has += [hand.person for hand in entry.handovers.all()]
    names = dict.fromkeys(person.name for person in has if person)
    return ", ".join(names) or (entry.person.name if entry.person else "")


def _seals(act: Act) -> Iterator[str]:
    """The seals that an act put on, and the pouches that it opened."""
    opened = []
    for fact in act.entry.seal_facts.all():
        where = fact.section.name if fact.section else ""
        if fact.number:
            says = _("seal %(number)s put on") % {"number": fact.number}
            yield f"{where}: {says}" if where else says
        else:
            opened.append(where or _("the whole kit"))
    if opened:
        yield _("opened: %(names)s") % {"names": ", ".join(dict.fromkeys(opened))}


def _ended(recall: Recall) -> str:
    if recall.closed is None:
        return _("It was still open.")
    if recall.outcome == "withdrawn":
        return _("Withdrawn by the maker: %(where)s") % {"where": recall.published_at}
    return _("Finished; the batch stays blocked.")
