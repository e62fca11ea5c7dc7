"""Going through the pages without a browser: Django's client, a form's post, a page's words."""

from __future__ import annotations

import re
import uuid

from django.test import Client


def browser(person=None, **more):
    """A client on which somebody is signed in, or nobody."""
    client = Client(**more)
    if person is not None:
        client.force_login(person.user)
    return client


def text_of(response):
    """The words of a page, without its tags."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


def post(client, path, key=None, **fields):
    """Send a form, under a key of its own."""
    return client.post(path, {"key": str(key or uuid.uuid4()), **fields})
