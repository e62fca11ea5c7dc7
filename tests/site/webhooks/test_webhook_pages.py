"""Pages of webhooks: the secret is shown once, and what was sent by name."""

from typing import Any

from django.test import Client
from django.utils import timezone

from gearroom.core.rules.roles import Role
from kits.models import Webhook
from kits.rules.events.facts import KitChanged
from kits.services import events
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE

FIELDS = {"name": "Bookings", "address": "https://booking.example/events"}


def administrator() -> Client:
    """A browser of who administers every room."""
    return browser(make.person("Ada", Role.ADMINISTRATOR))


def test_a_secret_is_on_the_page_that_answers_and_never_again() -> None:
    client, key = administrator(), make.act().key
    first, again = (post(client, "/webhooks/", key, **FIELDS) for _press in range(2))
    assert b"whsec_" in first.content
    webhook = Webhook.objects.get()
    for page in (again, client.get("/webhooks/"), client.get(f"/webhooks/{webhook.pk}/")):
        assert b"whsec_" not in page.content


def test_what_was_refused_keeps_what_was_typed() -> None:
    typed: Any = {**FIELDS, "address": "https://10.0.0.1/", "types": ["kit.added"]}
    page = post(administrator(), "/webhooks/", **typed)
    assert "internal network" in text_of(page) and not Webhook.objects.exists()
    assert 'value="https://10.0.0.1/"' in page.content.decode()
    assert 'value="kit.added" checked' in page.content.decode()


def test_what_was_sent_is_named_by_its_kit() -> None:
    client, w = administrator(), make.world()
    post(client, "/webhooks/", **FIELDS)
    webhook = Webhook.objects.get()
    changed = KitChanged(1, w.day_01.pk)
    (event,) = events.write([events.Draft("kit.changed", w.day_01.pk, changed, timezone.now())])
    webhook.attempts.create(event=event, message_id=event.message_id, at=timezone.now(), status=204)
    page = text_of(client.get(f"/webhooks/{webhook.pk}/"))
    assert f"Kit changed Accepted {w.day_01.name}" in page
