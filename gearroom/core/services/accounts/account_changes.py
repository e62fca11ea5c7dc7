"""Changes of how somebody signs in, or of where mail reaches them: who may make them, and that whom
they concern is told, at the address that they had before."""

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, NotAllowed, roles_of
from gearroom.core.models import AccountChange, Person
from gearroom.core.rules.roles import Scope, has_right_over

Kind = AccountChange.Kind


def require_right_over(actor: Actor, *people: Person) -> None:
    """Raise NotAllowed unless whoever asks has the right over all that these people may do, in
    every room; over oneself everybody has it. A token has it with every scope alone: whoever sets
    the address of somebody can get all that they may do."""
    if actor.person is None:
        return
    lacking = sorted(set(Scope) - actor.scopes) if actor.scopes is not None else []
    if lacking:
        raise NotAllowed(
            "scope-missing",
            _(
                "This token does not have the scope “%(scope)s”. To change a login or an address, "
                "use a token that has every scope, or the web pages."
            )
            % {"scope": lacking[0]},
            scope=str(lacking[0]),
        )
    for person in people:
        if not _outranks(actor, person):
            raise NotAllowed(
                "role-missing",
                _(
                    "%(name)s has rights that you cannot grant, so only an administrator of every "
                    "gear room where they have a role can change their login and address."
                )
                % {"name": person.name},
            )


def has_the_right_over(actor: Actor, person: Person) -> bool:
    """Whether `require_right_over` lets them."""
    whole = actor.scopes is None or actor.scopes >= set(Scope)
    return actor.person is None or (whole and _outranks(actor, person))


def _outranks(actor: Actor, person: Person) -> bool:
    own = actor.person is not None and person.pk == actor.person.pk
    return own or has_right_over(actor.roles, roles_of(person))


def note(act: Act, person: Person, kind: Kind, address: str | None = None) -> None:
    """Have somebody be told of a change by a mail to `address`: what they had before, else what
    they have."""
    to = person.email if address is None else address
    if to:
        AccountChange.objects.create(
            person=person, address=to, kind=kind, by=act.person, at=act.received_at
        )
