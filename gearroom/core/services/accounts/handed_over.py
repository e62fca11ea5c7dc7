"""Acts that one person's phone hands over for another's login to send.

A phone signs each act with a key that it got while its person was signed in (`signing_key`), so
that whoever carries the act can neither change it nor make one up. It counts as its person's, under
its own key, so that it is done once however many phones send it; and it does only what both of them
may do.
"""

import hashlib
import hmac
import json
import re
import uuid
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.translation import gettext as _

from gearroom.core.acts import Actor, Invalid, NotAllowed
from gearroom.core.models import User
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


def signing_key(user: User) -> str:
    """What a phone signs with while this is their password; a new password ends it."""
    text = f"{user.pk}:{user.password}"
    return salted_hmac("gearroom.handed-over", text, algorithm="sha256").hexdigest()


def read(header: str) -> HandedOver:
    """The header `Gearroom-Handed-Over`; raises Invalid (`malformed-headers`)."""
    if (match := _HEADER.fullmatch(header)) is None:
        raise Invalid(
            _("Gearroom-Handed-Over must be a person, a clock offset and a signature."),
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
            "This record was changed after it was handed over, or the password of whoever made it "
            "has changed since. Ask them to log in and send it themselves."
        ),
    )


def _is_signed(user: User, handed: HandedOver, facts: list[Any]) -> bool:
    # As static/site/offline/queue.js writes it: members in order, nothing between them.
    text = json.dumps(
        [handed.person, *facts], ensure_ascii=False, separators=(",", ":"), sort_keys=True
    )
    secret = signing_key(user).encode()
    ours = hmac.new(secret, text.encode(), hashlib.sha256).hexdigest()
    return constant_time_compare(ours, handed.signature)
