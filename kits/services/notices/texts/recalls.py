"""What is said of a recall, in its notices and in the weekly email.

A person is asked to call whoever has a kit, never themselves: what is theirs to look into is said
as that.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import cast

from django.utils.translation import gettext as _, ngettext

from gearroom.core.rules.grouping import grouped
from kits.models import Certainty, Notice
from kits.services.notices.facts import RecalledKit, RecallFacts
from kits.services.notices.notice_text import NoticeText, page


def recall(notice: Notice) -> NoticeText:
    """What is recalled, which kits hold it or may, and whom to call."""
    kits = kits_of(notice)
    rooms = [notice.room.name] if notice.room else []
    facts = cast(RecallFacts, {"rooms": rooms, "thing": "", **notice.facts})
    subject = (
        _("RECALL, reminder: %(thing)s: check and answer")
        if facts.get("again")
        else _("RECALL, %(thing)s: check and answer")
    )
    one = f"{facts['recall']}/" if "recall" in facts else ""
    return NoticeText(
        sentence(facts, kits),
        [*lines(facts, kits, notice.person_id)],
        subject=subject % {"thing": facts["thing"]},
        page=page(f"/stock/recalls/{one}"),
    )


def kits_of(notice: Notice) -> list[RecalledKit]:
    """The kits that a notice of a recall names; of one written when each kit had its own, that."""
    facts = notice.facts
    if "kits" in facts or notice.kit is None:
        return list(facts.get("kits", ()))
    return [
        {
            "id": notice.kit.pk,
            "name": notice.kit.name,
            "certainty": facts.get("certainty", ""),
            "person": facts.get("person", ""),
            "phone": facts.get("phone", ""),
            "theirs": True,
        }
    ]


def sentence(facts: RecallFacts, kits: Sequence[RecalledKit]) -> str:
    """What is recalled, and which kits hold it or may."""
    thing = {"thing": facts["thing"], "number": facts.get("number") or _("with any lot number")}
    if not kits:
        return _(
            "RECALL: %(thing)s, batch %(number)s, in %(rooms)s. Stock from the shelves is in "
            "quarantine; follow up the kits until there is an answer for each one."
        ) % {**thing, "rooms": ", ".join(facts.get("rooms", ()))}
    certain = [k["name"] for k in kits if k["certainty"] == Certainty.CERTAIN]
    maybe = [k["name"] for k in kits if k["certainty"] != Certainty.CERTAIN]
    of_certain = ngettext(
        "%(kits)s certainly contains the batch.",
        "%(kits)s certainly contain the batch.",
        len(certain),
    )
    of_maybe = ngettext(
        "%(kits)s may contain the batch.", "%(kits)s may contain the batch.", len(maybe)
    )
    sentences = (
        text % {"kits": ", ".join(names)}
        for text, names in ((of_certain, certain), (of_maybe, maybe))
        if names
    )
    return " ".join(
        [
            _("RECALL: %(thing)s, batch %(number)s.") % thing,
            *sentences,
            _("Check, remove the batch and answer."),
        ]
    )


def lines(facts: RecallFacts, kits: Iterable[RecalledKit], reader: int) -> Iterator[str]:
    """The maker's advice and reference; whom to call for which kits, and which are the reader's (a
    person's id) own to look into."""
    if facts.get("advice"):
        yield facts["advice"]
    if facts.get("reference"):
        yield _("Maker’s reference: %(ref)s") % {"ref": facts["reference"]}
    by_whom = grouped(
        ("" if kit.get("person_id") == reader else _whom_to_call(kit), kit["name"]) for kit in kits
    )
    if own := by_whom.pop("", []):
        yield _("You need to check %(kits)s.") % {"kits": ", ".join(own)}
    for whom, names in by_whom.items():
        yield _("%(kits)s: %(ring)s") % {"kits": ", ".join(names), "ring": whom}


def _whom_to_call(kit: RecalledKit) -> str:
    """Whoever has it or answers for it, else the room."""
    name, phone = kit.get("person"), kit.get("phone" if kit.get("person") else "room_phone")
    cases = (
        (name and phone, _("call %(name)s, %(phone)s.")),
        (name, _("ask %(name)s (no phone on record).")),
        (phone, _("call %(room)s, %(phone)s.")),
    )
    text = next((text for applies, text in cases if applies), _("look in %(room)s."))
    return text % {"name": name, "phone": phone, "room": kit.get("room", "")}
