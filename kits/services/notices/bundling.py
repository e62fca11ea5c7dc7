"""What is said once for many: notices of one kind that go to one person in one mail, and what was
sent lately, which more of its kind waits for.

The first of such a mail is its `lead`, whose row keeps the bytes and names the others in its facts
(`holds`). They are out of the sweeps' sight (`Unsent.TOGETHER`) and marked as sent with it.
"""

from collections.abc import Collection, Iterable, Sequence
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from gearroom.core.rules.grouping import grouped
from kits.models import Notice
from kits.rules.notices.policy import APART, WEEKLY, Unsent, put_off_until
from kits.services.notices.registry import kind_of


def others(claimed: Sequence[Notice], waiting: QuerySet[Notice]) -> list[int]:
    """The ids of what else waits of the same kinds for the same people."""
    pairs = {(n.person_id, n.kind) for n in claimed if may_join(n)}
    rows = waiting.filter(
        person__in={person for person, _ in pairs}, kind__in={kind for _, kind in pairs}
    ).exclude(pk__in=[n.pk for n in claimed])
    return [
        pk
        for pk, person, kind in rows.values_list("pk", "person", "kind")
        if (person, kind) in pairs
    ]


def may_join(notice: Notice) -> bool:
    """Whether a notice may go in one mail with others: not one that was written already, a weekly
    email, or what somebody asked to have sent again."""
    return notice.rendered is None and notice.kind != WEEKLY and not is_resend(notice)


def is_resend(notice: Notice) -> bool:
    """Whether somebody asked to have it sent again."""
    return bool(notice.facts.get("asked_again"))


def mails(ready: Iterable[Notice]) -> list[list[Notice]]:
    """Notices by the mail they go in, each lead first."""
    groups = grouped(
        ((notice.person_id, notice.kind) if may_join(notice) else notice.pk, notice)
        for notice in ready
    )
    return list(groups.values())


class Lately:
    """The mails of the last half hour to some people."""

    def __init__(self, claimed: Collection[Notice], now: datetime) -> None:
        self._now = now
        sent = Notice.objects.filter(
            person__in={n.person_id for n in claimed},
            kind__in={n.kind for n in claimed},
            sent_at__gt=now - APART,
        )
        self._sent = grouped(
            ((person, kind), (kit, at))
            for person, kind, kit, at in sent.values_list("person", "kind", "kit", "sent_at")
            if at is not None
        )

    def put_off(self, notice: Notice) -> datetime | None:
        """Until when a notice waits for more of its kind; None where it does not."""
        sent = self._sent[notice.person_id, notice.kind]
        return put_off_until(
            kind_of(notice.kind).policy,
            self._now,
            of_kit={at for kit, at in sent if kit and kit == notice.kit_id},
            of_kind={at for _, at in sent},
        )


def join(rest: Sequence[Notice], token: UUID) -> list[Notice]:
    """Have those of `rest` that are still ours and stand go with the mail that is being written,
    and return them: what it says as well. In the transaction that keeps the mail's bytes."""
    ours = Notice.objects.filter(
        pk__in=[n.pk for n in rest], lease=token, taken_back_at=None, sent_at=None
    )
    still_ours = set(ours.values_list("pk", flat=True))
    ours.filter(pk__in=still_ours).update(unsent_why=Unsent.TOGETHER, lease=None, lease_until=None)
    return [n for n in rest if n.pk in still_ours]


def held_by(lead: Notice) -> QuerySet[Notice]:
    """What goes with a mail and was not sent yet."""
    return Notice.objects.filter(
        pk__in=lead.facts.get("holds", ()),
        sent_at=None,
        unsent_why__in=(Unsent.WEEKLY, Unsent.TOGETHER),
    )


def let_go(rows: Iterable[Notice]) -> None:
    """These notices (taken back, not sent) are in no mail any more. What went with one of them is
    told by itself again; a mail that one of them went with, and that was not tried yet, is written
    anew."""
    gone = {row.pk: row for row in rows}
    for row in gone.values():
        if row.kind != WEEKLY:
            held_by(row).filter(unsent_why=Unsent.TOGETHER).update(unsent_why="")
    if not any(row.unsent_why == Unsent.TOGETHER for row in gone.values()):
        return
    people = {row.person_id for row in gone.values()}
    leads = Notice.objects.filter(
        person__in=people, sent_at=None, tries=0, facts__has_key="holds"
    ).exclude(kind=WEEKLY)
    for lead in leads:
        if gone.keys() & set(lead.facts["holds"]):
            held_by(lead).filter(unsent_why=Unsent.TOGETHER).update(unsent_why="")
            facts = {key: value for key, value in lead.facts.items() if key != "holds"}
            leads.filter(pk=lead.pk).update(rendered=None, message_id="", recipient="", facts=facts)
