"""Before a seal goes on: what is not replaced, in words, and the refusal that asks."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from gearroom.core.acts import Refused
from kits.models import Kit, Place
from kits.rules.ledger.facts import Level
from kits.rules.restocking import sealing as rule
from kits.rules.restocking.sealing import Lack, NotReplaced
from kits.services.ledger import readiness


def not_replaced(kit: Kit, section: Place | None = None) -> list[NotReplaced]:
    """What is not replaced in a kit today, or in one of its sections."""
    return rule.not_replaced(
        readiness.states([kit.pk])[kit.pk],
        readiness.today_of(kit),
        section.section_key if section else None,
    )


def not_replaced_refusal(kit: Kit, rows: Sequence[NotReplaced]) -> Refused:
    """The question that comes before a seal on a kit with items not replaced; `lines` has them."""
    return Refused(
        "not-replaced",
        question(rows),
        kit=kit.name,
        count=sum(row.count for row in rows),
        lines=[
            {
                "item": row.thing.id,
                "name": row.thing.name,
                "section": row.section,
                "units": row.count,
                "why": str(row.lack),
                "text": line(row),
            }
            for row in rows
        ],
    )


def question(rows: Sequence[NotReplaced]) -> str:
    """*3 not replaced: seal anyway?*"""
    out = sum(row.count for row in rows if row.lack is Lack.COMES_OUT)
    missing = sum(row.count for row in rows) - out
    if not out:
        return _("%(count)d not replaced: seal anyway?") % {"count": missing}
    sentence = (
        _("%(count)d not replaced, %(out)d must be removed: seal anyway?")
        if missing
        else _("%(out)d must be removed: seal anyway?")
    )
    return sentence % {"count": missing, "out": out}


def line(row: NotReplaced) -> str:
    """One item that is not replaced, in a few words."""
    facts = {"count": row.count, "thing": row.thing.name}
    match row.lack, row.level:
        case Lack.NOT_REPLACED, _level:
            return _("%(count)d × %(thing)s not replaced") % facts
        case Lack.COMES_OUT, _level:
            return _("%(count)d × %(thing)s must be removed") % facts
        case Lack.NOT_FULL, Level.LOW:
            return _("%(thing)s: low") % facts
        case Lack.NOT_FULL, Level.EMPTY:
            return _("%(thing)s: empty") % facts
    return _("%(thing)s: level not checked") % facts
