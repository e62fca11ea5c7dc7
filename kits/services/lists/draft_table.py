"""A draft of a kit list as one table: all of it read at once, and saved at once.

Whoever saves says what they read, so that of two people at the same draft the second is told, and
nothing is written over.
"""

from collections.abc import Iterable

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Stale
from kits.models import Item, PackingListVersion
from kits.rules.lists import pasted_rows
from kits.rules.lists.table import Group, Note, Row, Table, Values
from kits.services.lists import drafts, packing_lists, pasting
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.lists.not_carried import NotCarriedDraft


# ------------------------------------------------------------------------------------- as a table
def table_of(draft: Draft) -> Table:
    """A draft as a table of texts."""
    facts: Values = {
        "people": str(draft.people),
        "days": str(draft.days),
        "hazard": tuple(sorted(draft.hazards)),
        "note": draft.note,
    }
    return Table(
        Row("facts", facts),
        tuple(_group(section) for section in draft.sections),
        tuple(_left_out(line) for line in draft.not_carried),
    )


def _group(section: SectionDraft) -> Group:
    head = {"name": section.name, "outside": "1" if section.outside else ""}
    return Group(
        Row(section.key, head),
        tuple(_line(section.key, line) for line in section.lines),
    )


def _line(section: str, line: LineDraft) -> Row:
    values = {
        "item": line.item.name,
        "carry": str(line.carry),
        "never": str(line.never_below),
        "matters": str(line.criticality),
        "reason": line.reason,
    }
    return Row(f"{section}.{line.item.pk}", values)


def _left_out(line: NotCarriedDraft) -> Row:
    values: Values = {
        "thing": line.item.name if line.item else "",
        "need": line.need.key if line.need else "",
        "why": str(line.why),
        "words": line.words,
        "instead": line.instead,
        "hazard": tuple(sorted(line.when.hazards)),
        "activity": tuple(sorted(line.when.activities)),
        "hours": "" if line.when.hours_to_care is None else f"{line.when.hours_to_care:f}",
        "trained": line.trained,
        "decided_by": str(line.decided_by.pk) if line.decided_by else "",
        "decided_on": line.decided_on.isoformat() if line.decided_on else "",
        "look_again_on": line.look_again_on.isoformat() if line.look_again_on else "",
        "look_again_after": line.look_again_after,
    }
    return Row(f"out.{line.key}", values)


# ------------------------------------------------------------------------------------------ pasted
def pasted(text: str, section: str) -> Table:
    """Rows of a spreadsheet, or lines from anywhere, as a table; what names no section is in the
    one called so. An item that a row most likely means is put in its place. Raises Invalid where
    there are too many or none."""
    rows = pasted_rows.rows(text)
    pasting.refuse_too_many(rows)
    names = list(Item.objects.active().values_list("pk", "name"))
    groups: dict[str, list[Row]] = {}
    left_out: list[Row] = []
    for at, row in enumerate(rows):
        item, guessed = pasting.meant(row.item, dict(names))
        note = Note.GUESSED if guessed or not row.plain else None
        beside = {"item": row.text} if note else {}
        if row.left_out:
            values = {"thing": item, "need": "", "why": "other", "words": row.reason}
            left_out.append(Row(f"pasted-{at}", values, note=note, beside=beside))
        else:
            values = {"item": item, **row.values}
            of_group = groups.setdefault(row.section or section, [])
            of_group.append(Row(f"pasted-{at}", values, note=note, beside=beside))
    return Table(
        Row("facts"),
        tuple(_new_group(name, of) for name, of in groups.items()),
        tuple(left_out),
    )


def _new_group(name: str, rows: Iterable[Row]) -> Group:
    return Group(Row("", {"name": name, "outside": ""}), tuple(rows))


# ------------------------------------------------------------------------------------------- saved
@transaction.atomic
def save(act: Act, version: PackingListVersion, draft: Draft, *, read: Table) -> PackingListVersion:
    """Let a draft say this instead of what was `read`. Raises Refused (`published-already`), Stale
    (`changed-since`) where it says something else by now, Invalid."""
    act.actor.require("edit_list")
    version = packing_lists.locked(version)
    if version.published_at is None and table_of(drafts.draft_of(version)) != read:
        raise Stale(
            "changed-since",
            _(
                "Somebody else has saved this list since you opened it. Nothing is lost: what "
                "they changed and what you typed are both shown below. Look at both, then save."
            ),
        )
    return drafts.edit_draft(act, version, draft)
