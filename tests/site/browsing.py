"""Going through the pages without a browser: Django's client, a form's post, a page's words."""

import re
import uuid
from typing import Any

import pytest
from django.test import Client

PAGES_ON_SQLITE = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
"""Pages ask services only, and those are tried on both engines."""


def browser(person: Any = None, **more: Any) -> Client:
    """A client on which somebody is signed in, or nobody."""
    client = Client(**more)
    if person is not None:
        client.force_login(person.user)
    return client


def text_of(response: Any) -> str:
    """The words of a page, without its tags."""
    page = re.sub(r'<span class="unbroken">(.*?)</span>', r"\1", response.content.decode())
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def post(client: Any, path: Any, key: Any = None, **fields: Any) -> Any:
    """Send a form, under a key of its own."""
    return client.post(path, {"key": str(key or uuid.uuid4()), **fields})


def form_with(response: Any, text: str) -> dict[Any, Any]:
    """The fields of the form in which some text stands, as a browser would send them."""
    page = response.content.decode()
    for form in re.findall(r"<form.*?</form>", page, re.S):
        if text in form:
            fields: dict[str, Any] = {}
            for tag in re.findall(r"<input[^>]*>", form):
                name, value = (re.search(rf'\b{a}="([^"]*)"', tag) for a in ("name", "value"))
                if re.search('type="(radio|checkbox)"', tag) and "checked" not in tag:
                    continue
                if name:
                    fields.setdefault(name[1], value[1] if value else "")
            for name, options in re.findall(
                r'<select[^>]* name="([^"]*)"[^>]*>(.*?)</select>', form, re.S
            ):
                values = re.findall(r'<option value="([^"]*)"', options)
                chosen = re.search(r'value="([^"]*)" selected', options)
                fields[name] = chosen[1] if chosen else next(iter(values), "")
            return fields
    raise AssertionError(f"no form has {text!r}")


def form_of(response: Any, action: str) -> Any:
    """The fields of the form that goes to an address, for acts under new keys."""
    fields = form_with(response, f'action="{action}"')
    del fields["key"]
    return fields
