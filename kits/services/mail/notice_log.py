"""What was told to whom and when, why it was or was not sent; and sending it again."""

import email
import enum
from email.policy import default
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as lazy

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, NotAllowed, NotFound, Unacceptable
from gearroom.core.models import Membership, Person
from gearroom.core.services.installation import installation
from kits.models import Kit, Notice
from kits.rules.mail.plain_text import as_text
from kits.rules.notices.policy import WEEKLY, Unsent
from kits.services.mail import notice_texts
from kits.services.notices import recipients
from kits.services.text.days import instant


class State(enum.StrEnum):
    """How a notice stands."""

    WAITING = "waiting"
    SENT = "sent"
    IN_THE_WEEKLY = "in-the-weekly"
    NOT_SENT = "not-sent"
    TAKEN_BACK = "taken-back"


_STATES: dict[State, Q] = {
    State.SENT: Q(sent_at__isnull=False),
    State.TAKEN_BACK: Q(sent_at__isnull=True, taken_back_at__isnull=False),
    State.IN_THE_WEEKLY: Q(
        sent_at__isnull=True, taken_back_at__isnull=True, unsent_why=Unsent.WEEKLY
    ),
    State.NOT_SENT: Q(sent_at__isnull=True, taken_back_at__isnull=True)
    & ~Q(unsent_why__in=["", Unsent.WEEKLY, Unsent.TOGETHER]),
    State.WAITING: Q(
        sent_at__isnull=True, taken_back_at__isnull=True, unsent_why__in=["", Unsent.TOGETHER]
    ),
}

_WHY: dict[Unsent, str | Promise] = {
    Unsent.WEEKLY: lazy("They chose the weekly email, so the notification will be included there."),
    Unsent.CHOSEN: lazy("They have turned this kind of notification off."),
    Unsent.NO_ADDRESS: lazy("They have no email address on record."),
    Unsent.LEFT: lazy("They have left the school."),
    Unsent.REFUSED: lazy(
        "Their mail server has permanently refused the email. Correct the email address."
    ),
    Unsent.PASSED: lazy("The notification no longer applies."),
}


def state(notice: Notice) -> State:
    """How a notice stands."""
    cases = (
        (notice.sent_at is not None, State.SENT),
        (notice.taken_back_at is not None, State.TAKEN_BACK),
        (notice.unsent_why == Unsent.WEEKLY, State.IN_THE_WEEKLY),
        (notice.unsent_why in ("", Unsent.TOGETHER), State.WAITING),
    )
    return next((state for applies, state in cases if applies), State.NOT_SENT)


def why(notice: Notice) -> str:
    """Why it was or was not sent, in a sentence."""
    match state(notice):
        case State.SENT:
            if not installation.mail_host():
                return _(
                    "The email was saved as a file. No mail server is set, so it was not sent."
                )
            return _("Their mail server accepted the email.")
        case State.TAKEN_BACK:
            return _(
                "The notification was not sent, because the action it reported had been undone."
            )
        case State.WAITING if notice.unsent_why == Unsent.TOGETHER:
            return _("The notification will be sent in one email with others of its kind.")
        case State.WAITING if notice.last_error:
            return _(
                "Tried %(count)d times; the last response was: %(said)s. Sending will be tried "
                "again."
            ) % {
                "count": notice.tries,
                "said": notice.last_error,
            }
        case State.WAITING if notice.due_at > clock.now():
            return _(
                "The notification will wait until %(when)s, either for their quiet hours to end "
                "or so that several of its kind can be sent in one email."
            ) % {"when": instant(notice.due_at.isoformat(), recipients.zone_of(notice.person))}
        case State.WAITING:
            return _("The notification is about to be sent.")
    reason = str(_WHY[Unsent(notice.unsent_why)])
    return f"{reason} ({notice.last_error})" if notice.last_error else reason


def visible_to(actor: Actor, *, state: State | str | None = None) -> QuerySet[Notice]:
    """The notices that somebody may see: their own, and those of the rooms whose notices they
    may see."""
    rows = Notice.objects.select_related("person", "kit", "room", "entry__person").defer("rendered")
    if state is not None:
        rows = rows.filter(_STATES[State(state)])
    if actor.person is None or (actor.everywhere and actor.may("see_notices")):
        return rows
    rooms = [room for room in actor.room_ids if actor.may("see_notices", room)]
    return rows.filter(Q(person=actor.person) | Q(room__in=rooms))


def get(actor: Actor, pk: int) -> Notice:
    """One of the notices that somebody may see, with what was sent. Raises NotFound."""
    if (row := visible_to(actor).defer(None).filter(pk=pk).first()) is None:
        raise NotFound("notice", pk)
    return row


def text(actor: Actor, notice: Notice) -> str:
    """What it says: as it was sent, else as it would be now; a weekly email not written yet says
    nothing. Of one that tells of rooms whose notices somebody may not see, only that."""
    if not _reads_whole(actor, notice):
        text = _("The notification also concerns other gear rooms, so only %(name)s may read it.")
        return text % {"name": notice.person.name}
    if notice.rendered is not None:
        body = email.message_from_bytes(bytes(notice.rendered), policy=default).get_body(["plain"])
        return str(body.get_content()) if body else ""
    return "" if notice.kind == WEEKLY else as_text(notice_texts.letter(notice))


def _reads_whole(actor: Actor, notice: Notice) -> bool:
    if actor.person is None or actor.person.pk == notice.person_id:
        return True
    if actor.everywhere:
        return actor.may("see_notices")
    return all(room and actor.may("see_notices", room) for room in _rooms(notice))


def _rooms(notice: Notice) -> set[int | None]:
    """The rooms (ids) that a notice and what went in one mail with it tell of; None among them
    where that is not on record."""
    rooms: set[int | None] = {notice.room_id}
    if notice.kind == WEEKLY:
        rooms |= set(notice.facts.get("rooms", [None]))
    with_it = [
        notice,
        *Notice.objects.filter(pk__in=notice.facts.get("holds", ())).only("facts", "room"),
    ]
    named = [kit for each in with_it for kit in each.facts.get("kits", ()) if isinstance(kit, dict)]
    homes = {
        key: room
        for pk, name, room in Kit.objects.filter(
            Q(pk__in=[kit["id"] for kit in named if "id" in kit])
            | Q(name__in=[_name(kit) for kit in named])
        ).values_list("pk", "name", "home_room")
        for key in (pk, name)
    }
    rooms |= {each.room_id for each in with_it}
    return rooms | {homes.get(kit["id"] if "id" in kit else _name(kit)) for kit in named}


def _name(kit: dict[str, Any]) -> str:
    return str(kit.get("page") or kit.get("kit"))


@transaction.atomic
def send_again(act: Act, notice: Notice) -> Notice:
    """Tell the same once more, whatever was chosen: a notice of its own, sent with the next
    sweep. Raises NotAllowed, Unacceptable (`no-address`)."""
    if notice.room_id is None:
        act.actor.require("send_notice_again")
    else:
        act.actor.require("send_notice_again", notice.room_id)
    if not notice.person.email or notice.person.left_on is not None:
        raise Unacceptable(
            "no-address",
            _(
                "%(name)s has no email address on record, or has left the school. Call them, "
                "or add an address first."
            )
            % {"name": notice.person.name},
        )
    base = Notice.objects.select_for_update(of=("self",)).get(
        pk=notice.facts.get("again_of", notice.pk)
    )
    times = Notice.objects.filter(facts__again_of=base.pk).count() + 1
    return Notice.objects.create(
        person=base.person,
        kind=base.kind,
        fact=f"{base.fact[:140]}:sent-again:{times}",
        room=base.room,
        kit=base.kit,
        entry=base.entry,
        facts={**base.facts, "asked_again": True, "again_of": base.pk},
        created_at=clock.now(),
    )


def rooms_of_weekly(actor: Actor, person: Person) -> frozenset[int] | None:
    """The rooms (ids) whose lines somebody may see in a person's weekly email: all (None) of their
    own, else those whose notices they may see. Raises NotAllowed where none of them is a room of
    that person's."""
    if actor.person in (None, person) or (actor.everywhere and actor.may("see_notices")):
        return None
    members = Membership.objects.filter(person=person).values_list("room", flat=True)
    rooms = {*members, person.home_room_id}
    if not any(room and actor.may("see_notices", room) for room in rooms):
        raise NotAllowed(
            "role-missing",
            _("Only this person and the keepers of their gear rooms may see this. Ask a keeper."),
        )
    return frozenset(room for room in actor.room_ids if actor.may("see_notices", room))
