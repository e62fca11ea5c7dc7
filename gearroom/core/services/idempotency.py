"""Every act once, however often it is sent.

A write comes with a key. The first time, it is done, and its answer is kept for ever in the very
transaction that did it; any other time, that answer is given again. Whom it names is kept beside
it, where it can be erased (`gearroom.core.services.people.names`). So whatever happens between
(a lost answer, kill -9, a phone that was offline for a month), resending is safe.

Kept are the answers of acts that were done (2xx) and of those that the book refused (409, 422).
Nothing else is: what was wrong, not allowed or not there changed nothing and is judged anew, and a
question changes nothing at all.
"""

import hashlib
import json
import uuid
from collections.abc import Callable
from datetime import datetime
from typing import Any, NamedTuple

from django.db import IntegrityError, OperationalError, transaction
from django.utils.translation import gettext as _
from rest_framework.utils.encoders import JSONEncoder

from gearroom.core import clock
from gearroom.core.acts import Problem, Refused, Unacceptable, document
from gearroom.core.acts.key_locks import KeyLocked, locked_transaction
from gearroom.core.database_failures import was_rolled_back
from gearroom.core.models import KeptAnswer, User
from gearroom.core.services.people import names

KEPT = frozenset({409, 422})
"""The refusals that are kept: what the book said when it was asked, and would say otherwise now."""
RETRY_AFTER_S = 2
_TRIES = 4
"""How often an act is begun that has to give way to others, before it is given up as busy."""


class Answer(NamedTuple):
    """An answer: HTTP status, JSON body (a problem document from 400 on), and when it was given
    first, if that was before."""

    status: int
    body: Any
    first_at: datetime | None = None


def once(
    *,
    key: uuid.UUID,
    user: User | None,
    request: Any,
    perform: Callable[[], tuple[int, Any]],
    instance: str = "",
    kept: Callable[[Any], Any] = lambda body: body,
) -> Answer:
    """Do an act, or give the answer that it got the first time.

    `request` is the parsed request as JSON-like values, a picture as its SHA-256; `perform` does
    the act and returns status and JSON-like body; it writes to the database alone, since it is done
    anew if a constraint or another act stops it. A Problem that it raises takes back its writes; it
    is the answer where its status is one of `KEPT`, else it goes on. Whoever waited for the claim
    or came later sees the first one's row, so that nobody can lose at the key's primary key.
    `kept` makes of a body what may be kept of it (a secret may not); None: it was a question.

    Raises Refused 409 `in-flight` while the same key is being worked on elsewhere, Unacceptable
    422 `key-reused` when the key stands for another request or another's.
    """
    digest = hashlib.sha256(_json(request, sort_keys=True).encode()).hexdigest()
    try:
        with locked_transaction(key):
            first = _first_answer(key, user, digest)
            return first or _do_and_keep(key, user, digest, perform, instance, kept)
    except KeyLocked:
        raise Refused(
            "in-flight",
            _("This request is still being processed. Send it again in %(retry_after_s)s seconds.")
            % {"retry_after_s": RETRY_AFTER_S},
            retry_after=RETRY_AFTER_S,
        ) from None


def _first_answer(key: uuid.UUID, user: User | None, digest: str) -> Answer | None:
    if (row := KeptAnswer.objects.filter(key=key).first()) is None:
        return None
    if row.request_sha256 != digest or row.user_id != (user.pk if user else None):
        raise Unacceptable(
            "key-reused",
            _(
                "This Idempotency-Key has already been used for another request. Use a new "
                "UUID for a new request."
            ),
        )
    return Answer(row.status, names.with_words(_given_again(row)), row.created_at)


def _given_again(row: KeptAnswer) -> Any:
    """What was kept; a refusal says that it is of then."""
    body = json.loads(row.body)
    if row.status < 400:
        return body
    return {
        **body,
        "first_answered_at": row.created_at.isoformat(),
        "to_ask_anew": _("Nothing was done this time. To try again, use a new Idempotency-Key."),
    }


def _do_and_keep(
    key: uuid.UUID,
    user: User | None,
    digest: str,
    perform: Callable[[], tuple[int, Any]],
    instance: str,
    kept: Callable[[Any], Any],
) -> Answer:
    with names.recording_people() as people:
        try:
            status, body = _performed(perform)
        except Problem as problem:
            if problem.status not in KEPT:
                raise
            status, body = problem.status, document(problem, instance)
    # What is sent now is read back from text too, so that it cannot differ from what is kept.
    body = json.loads(_json(body))
    rest = kept(body) if status < 400 or status in KEPT else None
    if rest is not None:
        KeptAnswer.objects.create(
            key=key,
            user=user,
            request_sha256=digest,
            status=status,
            body=_json(
                names.with_references(rest, [*names.of_these(people), *names.of_everybody()])
            ),
            created_at=clock.now(),
        )
    return Answer(status, body)


def _performed(perform: Callable[[], tuple[int, Any]]) -> tuple[int, Any]:
    for _try in range(_TRIES - 1):
        try:
            with transaction.atomic():
                return perform()
        except IntegrityError:
            # Another act came between this one's look and its write, which a constraint stopped.
            # It looks once more, and is refused with the facts, or goes on by them.
            break
        except OperationalError as error:
            # The two waited for each other's rows and this one had to give way.
            if not was_rolled_back(error):
                raise
    with transaction.atomic():
        return perform()


def _json(value: Any, *, sort_keys: bool = False) -> str:
    return json.dumps(value, cls=JSONEncoder, sort_keys=sort_keys, separators=(",", ":"))
