"""What the booking system takes for genuine."""

import json
from datetime import UTC, datetime, timedelta

from standardwebhooks import Webhook

from tests.bookings.receiver import verified

OLDER, LATEST, OTHER = ("whsec_" + letter * 43 + "=" for letter in "ABC")
SECRETS = [(2, LATEST), (1, OLDER)]
CONTENT = json.dumps({"id": "a", "type": "kit.checked_out"}).encode()


def signed(secret: str, ago: timedelta = timedelta()) -> dict[str, str]:
    at = datetime.now(UTC) - ago
    return {
        "webhook-id": "a",
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": Webhook(secret).sign("a", at, CONTENT.decode()),
    }


def test_while_secrets_change_either_is_good_enough() -> None:
    both = {
        **signed(OLDER),
        "webhook-signature": f"{signed(OTHER)['webhook-signature']} "
        f"{signed(OLDER)['webhook-signature']}",
    }
    assert verified(CONTENT, signed(LATEST), SECRETS) == (json.loads(CONTENT), 2)
    assert verified(CONTENT, signed(OLDER), SECRETS) == (json.loads(CONTENT), 1)
    assert verified(CONTENT, both, SECRETS) == (json.loads(CONTENT), 1)


def test_what_nobody_signed_just_now_is_not_taken() -> None:
    not_genuine = {
        "another's secret": (CONTENT, signed(OTHER)),
        "changed": (CONTENT.replace(b"out", b"in"), signed(LATEST)),
        "under another id": (CONTENT, {**signed(LATEST), "webhook-id": "b"}),
        "an hour old": (CONTENT, signed(LATEST, timedelta(hours=1))),
        "not signed": (CONTENT, {}),
    }
    for what, (content, headers) in not_genuine.items():
        assert verified(content, headers, SECRETS) == (None, 0), what
