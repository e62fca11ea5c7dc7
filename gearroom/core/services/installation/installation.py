"""The installation's settings: changed by administrators of every room, each change on record; and
that a phone reached its address."""

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core import signing
from django.core.exceptions import ImproperlyConfigured, ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.utils.encoding import punycode
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, NotFound, Refused
from gearroom.core.models import Installation, InstallationChange
from gearroom.core.models.installation import (
    KEPT_MAIL_SERVER,
    announce,
    current,
    from_environment,
    remember,
)
from gearroom.core.services.installation import mail_server
from gearroom.core.setup.environment import public_url

_SALT, _A_DAY = "gearroom.reached", 24 * 3600
MOST_CHANGES = 20


def row() -> Installation:
    """The settings as they are kept; defaults where nobody ever set any."""
    return Installation.objects.first() or Installation()


def mail_host() -> str:
    """The mail server that is used; empty while mail is saved as files."""
    if settings.EMAIL_BACKEND == KEPT_MAIL_SERVER:
        return row().mail_host
    return "" if settings.EMAIL_BACKEND.endswith("EmlBackend") else settings.EMAIL_HOST


def changes() -> Sequence[InstallationChange]:
    """The latest changes, newest first."""
    rows = InstallationChange.objects.select_related("person").order_by("-id")
    return list(rows[:MOST_CHANGES])


def change(act: Act, **fields: Any) -> Installation:
    """Change settings. Raises Invalid; Refused (`set-in-environment`) for what the environment
    sets: changing it here would change nothing."""
    act.actor.require("edit_installation")
    with transaction.atomic():
        Installation.objects.get_or_create(pk=1)
        kept = Installation.objects.select_for_update().get(pk=1)
        if "public_url" in fields:
            fields["public_url"] = _address(fields["public_url"])
        if "mail_from" in fields:
            _require_sender(fields["mail_from"])
        if "mail_host" in fields:
            fields = _with_password(kept, fields)
        changed = [name for name, value in fields.items() if getattr(kept, name) != value]
        _refuse_what_the_environment_sets(changed)
        _require_somebody_who_sends(kept, fields)
        if not changed:
            return kept
        for name in changed:
            setattr(kept, name, fields[name])
        if "public_url" in changed:
            kept.reached_at = None
        _save(kept)
        InstallationChange.objects.create(person=act.person, at=act.received_at, fields=changed)
    return kept


def _save(kept: Installation) -> None:
    try:
        kept.full_clean(validate_constraints=False)
    except ValidationError as error:
        field = next(iter(error.message_dict), "")
        raise Invalid(" ".join(error.messages), field=field) from None
    kept.save()
    remember(kept)
    transaction.on_commit(announce)


def _refuse_what_the_environment_sets(changed: Sequence[str]) -> None:
    given = from_environment()
    for name in changed:
        of = {"quiet_from": "quiet_hours", "quiet_until": "quiet_hours"}.get(name, name)
        if name.startswith("mail_") and name != "mail_from":
            of = "mail_host"
        if of in given:
            raise Refused(
                "set-in-environment",
                _("%(variable)s is set in the server’s environment, so it cannot be changed "
                  "here. Remove it there first.") % {"variable": given[of]},
            )  # fmt: skip


def _address(typed: str) -> str:
    try:
        return public_url(typed)
    except ImproperlyConfigured:
        raise Invalid(
            _("“%(typed)s” is not a web address. It begins with https:// (or http://) and ends "
              "with the name of the server, such as https://gear.example.org.")
            % {"typed": typed[:80]},
            field="public_url",
        ) from None  # fmt: skip


def _require_sender(typed: str) -> None:
    if not typed:
        return
    address = typed.rpartition("<")[2].removesuffix(">")
    try:
        validate_email(address)
        punycode(address.rpartition("@")[2])
    except (ValidationError, UnicodeError):
        raise Invalid(
            _("Enter the sender as an email address, or as a name and an address: Gear room "
              "<gear@example.org>."),
            field="mail_from",
        ) from None  # fmt: skip


def _require_somebody_who_sends(kept: Installation, fields: dict[str, Any]) -> None:
    """Mail servers refuse what comes from nowhere."""
    sender = settings.MAIL_FROM or fields.get("mail_from", kept.mail_from)
    if fields.get("mail_host") and not sender:
        raise Invalid(_("Enter the address that emails are sent from."), field="mail_from")


def _with_password(kept: Installation, fields: dict[str, Any]) -> dict[str, Any]:
    """The fields with the password as it is kept: a typed one, or the one from before. That one
    goes to no other server or user: whoever may change settings may not read it either."""
    typed = fields.pop("mail_password", "")
    if typed:
        return {**fields, "mail_password": mail_server.encrypted(typed)}
    to = ("mail_host", "mail_port", "mail_security", "mail_user")
    same = all(fields.get(name, getattr(kept, name)) == getattr(kept, name) for name in to)
    return fields if same else {**fields, "mail_password": ""}


# --------------------------------------------------------------------- whether a phone reaches it
def link_to_try() -> str:
    """The address that a phone opens to show that it reaches us; empty without a public one."""
    address = current().public_url
    return f"{address}/reached/{signing.dumps(address, salt=_SALT)}/" if address else ""


def address_of(link: str) -> str:
    """The address that a link was made to try. Raises NotFound once that is no longer ours."""
    try:
        address = signing.loads(link, salt=_SALT, max_age=_A_DAY)
    except signing.BadSignature:
        raise NotFound("link to try the address") from None
    if address != current().public_url:
        raise NotFound("link to try the address")
    return str(address)


def note_reached(link: str, host: str) -> bool:
    """Note that a phone opened such a link; False where it came by another address (`host`)."""
    address = address_of(link)
    if urlsplit(address).netloc != host.lower():
        return False
    with transaction.atomic():
        Installation.objects.get_or_create(pk=1)
        kept = Installation.objects.select_for_update().get(pk=1)
        kept.reached_at = clock.now()
        _save(kept)
    return True
