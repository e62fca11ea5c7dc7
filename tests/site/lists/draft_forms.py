"""The form of a draft's table, as a browser sends it."""

import uuid
from html.parser import HTMLParser
from typing import Any

from django.test import Client

from kits.models import PackingListVersion

Fields = dict[str, list[str]]


def at(version: PackingListVersion, rest: str = "edit/") -> str:
    """The address of a page of a version."""
    return f"/lists/{version.packing_list_id}/{version.number}/{rest}"


def lines_of(version: PackingListVersion, key: str = "main") -> list[Any]:
    """Item, carry and minimum of each line of a section."""
    section = version.sections.get(key=key)
    return [(line.item.name, line.carry, line.never_below) for line in section.lines.all()]


class _Form(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.fields: Fields = {}
        self.inside = self.template = False
        self.select = self.textarea = ""
        self.options: list[tuple[str, bool]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.inside = "draft" in has.get("class", "").split()
        if tag == "template":
            self.template = True
        if not self.inside or self.template:
            return
        if tag == "input" and "name" in has:
            if has.get("type") not in ("checkbox", "radio") or "checked" in has:
                self.put(has["name"], has.get("value", ""))
        elif tag == "select":
            self.select, self.options = has["name"], []
        elif tag == "option":
            self.options.append((has.get("value", ""), "selected" in has))
        elif tag == "textarea":
            self.textarea = has["name"]
            self.put(self.textarea, "")

    def handle_data(self, data: str) -> None:
        if self.textarea:
            self.fields[self.textarea][-1] += data.strip()

    def handle_endtag(self, tag: str) -> None:
        if tag == "select" and self.select:
            values = [value for value, _chosen in self.options]
            chosen = [value for value, chosen in self.options if chosen]
            self.put(self.select, (chosen or values)[0])
            self.select = ""
        elif tag == "textarea":
            self.textarea = ""
        elif tag == "template":
            self.template = False
        elif tag == "form":
            self.inside = False

    def put(self, name: str, value: str) -> None:
        self.fields.setdefault(name, []).append(value)


def form_of(page: Any) -> Fields:
    """The fields of the table on a page, but for the act's key and its token."""
    parser = _Form()
    parser.feed(page.content.decode())
    return {
        name: values
        for name, values in parser.fields.items()
        if name not in ("key", "csrfmiddlewaretoken")
    }


def send(client: Client, version: PackingListVersion, fields: Fields, **more: Any) -> Any:
    """Send the table with some of it changed, under a key of its own."""
    return client.post(at(version), {"key": str(uuid.uuid4()), **fields, **more})


def edited(client: Client, version: PackingListVersion, **more: Any) -> Any:
    """Send the table as it is shown, with some of it changed."""
    return send(client, version, form_of(client.get(at(version))), **more)


def left_out(client: Client, version: PackingListVersion, **more: Any) -> Any:
    """Send the table with one more line of what is not carried."""
    fields = form_of(edited(client, version, do="out"))
    (row,) = (each.removeprefix("out:") for each in fields["order"] if each.startswith("out:+"))
    return send(client, version, fields, **{f"{name}-{row}": v for name, v in more.items()})


def rows_of(page: Any, item: str) -> str:
    """The id of the row with an item, on a page with a table."""
    fields = form_of(page)
    return next(
        name.removeprefix("item-")
        for name, values in fields.items()
        if name.startswith("item-") and values == [item]
    )
