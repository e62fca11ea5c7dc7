"""Whether advice for others is on, and who may send it."""

from collections.abc import Sequence

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, Invalid, NotAllowed, nothing_here
from gearroom.core.models import Person
from gearroom.core.rules.roles import USE_CASES, Role
from kits.models import AdviceSettings


def is_on() -> bool:
    """Whether an administrator turned it on."""
    return AdviceSettings.objects.filter(on=True).exists()


def senders() -> list[Person]:
    """Those who were named, by name."""
    return list(Person.objects.filter(pk__in=_named()).order_by("name", "pk"))


def candidates() -> QuerySet[Person]:
    """Those who can be named: whoever has a role that may send advice, and has not left."""
    roles = USE_CASES["send_advice"].roles or frozenset()
    return (
        Person.objects.filter(
            Q(memberships__role__in=[role.value for role in roles]),
            left_on=None,
            merged_into=None,
            user__device=None,
        )
        .distinct()
        .order_by("name", "pk")
    )


def put(act: Act, *, on: bool, senders: Sequence[int]) -> AdviceSettings:
    """Turn advice on or off, and name who may send it. Raises Invalid for somebody who cannot be
    named, and for nobody where it is turned on."""
    act.actor.require("set_up_advice")
    people = list(candidates().filter(pk__in=set(senders)))
    if len(people) != len(set(senders)):
        raise Invalid(_("Choose people from the list."), field="sender")
    if on and not people:
        raise Invalid(_("Choose who may send advice."), field="sender")
    with transaction.atomic():
        row, _made = AdviceSettings.objects.update_or_create(
            pk=1, defaults={"on": on, "changed_by": act.person, "changed_at": act.received_at}
        )
        row.senders.set(people)
    return row


def may_send(actor: Actor) -> bool:
    """Whether it is on, and somebody may send it."""
    return (
        actor.may("send_advice")
        and AdviceSettings.objects.filter(on=True, senders=actor.person).exists()
    )


def roles_of_sender(actor: Actor) -> list[Role]:
    """The roles by which somebody may send it."""
    held = {role for roles in actor.roles.values() for role in roles}
    return [role for role in Role if role in held & (USE_CASES["send_advice"].roles or set())]


def refuse_while_off() -> None:
    """Raise what is raised where there is nothing at an address, while it is off."""
    if not is_on():
        raise nothing_here()


def require_sender(actor: Actor) -> None:
    """Raise a problem unless somebody may send advice: as if nothing were there while it is off,
    NotAllowed without the right, or (`not-a-sender`) without having been named."""
    refuse_while_off()
    actor.require("send_advice")
    if actor.person is not None and actor.person.pk not in _named():
        raise NotAllowed(
            "not-a-sender",
            _("You are not among the people who may send advice. Ask an administrator."),
        )


def _named() -> set[int]:
    return set(AdviceSettings.objects.values_list("senders", flat=True)) - {None}
