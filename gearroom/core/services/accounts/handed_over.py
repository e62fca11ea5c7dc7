"""Acts that one person's phone hands over for another's login to send.

A phone signs each act with a key that it got while its person was signed in (`signing_key`), so
that whoever carries the act can neither change it nor make one up. It counts as its person's, under
its own key, so that it is done once however many phones send it; and it does only what both of them
may do.

The key is of one login, and ends with it. A login that was withdrawn from elsewhere (a phone that
was lost, a new password, somebody who left) ends it for all that the phone ever signed. Whoever
signs out on the phone itself has it forget its key there, so what it signed before is theirs: it
may still be handed over for a month, where by the phone's own clock it was done before that.
"""

import hashlib
import hmac
import json
import re
import uuid
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.contrib.sessions.backends.base import SessionBase
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Actor, Invalid, NotAllowed
from gearroom.core.models import SignedIn, User
from gearroom.core.services.accounts import sign_ins
from gearroom.core.services.accounts.shared_devices import DEVICE, actor_at

_HEADER = re.compile(r"([0-9]{1,15}) (-|-?[0-9]{1,13}) ([0-9a-f]{64})")


@dataclass(frozen=True)
class HandedOver:
    """Whose act it is (a person's id), by how many milliseconds the clock that timed it was ahead
    of ours (None: not known), and the signature over both and the act (hexadecimal)."""

    person: int
    ahead_ms: int | None
    signature: str

    def device_now(self, received_at: datetime) -> datetime:
        """What the clock that timed the act shows when we receive it."""
        return received_at + timedelta(milliseconds=self.ahead_ms or 0)

    def done_at(self, act: Mapping[str, Any]) -> datetime | None:
        """When the act was done, by our clock: now, where it does not say; None where what it says
        is no time."""
        if "occurred_at" not in act:
            return clock.now()
        with suppress(TypeError, ValueError, OverflowError):
            at = datetime.fromisoformat(act["occurred_at"])
            return at - timedelta(milliseconds=self.ahead_ms or 0) if at.tzinfo else None
        return None


def key_of_session(user: User, session: SessionBase) -> str:
    """What the phone that is signed in by a session signs with; empty where there is no such login.
    A shared device has one login, which ends with it."""
    if DEVICE in session:
        return signing_key(user)
    login = SignedIn.objects.filter(user=user, session_key=session.session_key or "").first()
    return signing_key(user, login) if login else ""


def signing_key(user: User, login: SignedIn | None = None) -> str:
    """What a phone signs with while this is their password and this their login."""
    text = f"{user.pk}:{user.password}:{login.pk if login else 'device'}"
    return salted_hmac("gearroom.handed-over", text, algorithm="sha256").hexdigest()


def read(header: str) -> HandedOver:
    """The header `Gearroom-Handed-Over`; raises Invalid (`malformed-headers`)."""
    if (match := _HEADER.fullmatch(header)) is None:
        raise Invalid(
            _("Gearroom-Handed-Over must contain a person, a clock offset and a signature."),
            code="malformed-headers",
        )
    person, ahead, signature = match.groups()
    return HandedOver(int(person), None if ahead == "-" else int(ahead), signature)


def actor_for(
    sender: Actor, handed: HandedOver, key: uuid.UUID, path: str, body: dict[str, Any]
) -> Actor:
    """Whoever did the act, through whoever sends it. Raises NotAllowed (`handed-over-refused`)
    where it is not what their phone signed."""
    user = (
        User.objects.select_related("person", "device")
        .filter(person=handed.person, is_active=True, person__merged_into=None)
        .first()
    )
    act = {name: value for name, value in body.items() if name != "device_now"}
    if user is None or not _is_signed(user, handed, [str(key), path, handed.ahead_ms, act]):
        raise refused()
    session = {DEVICE: user.device.pk} if hasattr(user, "device") else {}
    return replace(actor_at(user, session), through=sender)


def refused() -> NotAllowed:
    """It is not what a phone of whoever did it signed, or nothing that can be handed over."""
    return NotAllowed(
        "handed-over-refused",
        _(
            "Either this record was changed after the other phone passed it on, or the login that "
            "it was made with is no longer valid. Ask the person who made the record to log in and "
            "send it themselves."
        ),
    )


def _is_signed(user: User, handed: HandedOver, facts: list[Any]) -> bool:
    # As static/site/offline/queue.js writes it: members in order, nothing between them.
    text = json.dumps(
        [handed.person, *facts], ensure_ascii=False, separators=(",", ":"), sort_keys=True
    )
    signed = (
        hmac.new(secret.encode(), text.encode(), hashlib.sha256).hexdigest()
        for secret in _keys(user, handed.done_at(facts[-1]))
    )
    return any(constant_time_compare(ours, handed.signature) for ours in signed)


def _keys(user: User, done_at: datetime | None) -> list[str]:
    """The keys that what was done at an instant may be signed with."""
    if hasattr(user, "device"):
        return [signing_key(user)]
    logins = sign_ins.could_sign(user, done_at) if done_at else ()
    return [signing_key(user, login) for login in logins]
