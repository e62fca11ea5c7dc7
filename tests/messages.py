"""Every text that the program says, found in its source: `python -m tests.messages`.

Brings `locale/*/LC_MESSAGES/django.po` up to date: texts that are new are added untranslated, texts
that nothing says any more are taken out. It needs no gettext tools: Python is read by its syntax
tree, Django's templates by Django's own conversion into calls of gettext.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import polib
from django.utils.translation.template import templatize

PROJECT = Path(__file__).resolve().parent.parent
LOCALE = PROJECT / "locale"
APPS = ("gearroom", "kits", "labels")

# Which arguments are context, singular and plural (None: not there).
Places = tuple[int | None, int, int | None]
CALLS: dict[str, Places] = {
    "_": (None, 0, None),
    "gettext": (None, 0, None),
    "gettext_lazy": (None, 0, None),
    "gettext_noop": (None, 0, None),
    "ngettext": (None, 0, 1),
    "ngettext_lazy": (None, 0, 1),
    "pgettext": (0, 1, None),
    "pgettext_lazy": (0, 1, None),
    "npgettext": (0, 1, 2),
    "say": (None, 0, None),  # of gearroom.core.rules.sentences
}


class Text(NamedTuple):
    """A text to translate; empty strings for no context and no plural."""

    context: str
    text: str
    plural: str


def texts() -> dict[Text, list[tuple[str, str]]]:
    """Every text with the places that say it, as file and line."""
    found: dict[Text, list[tuple[str, str]]] = {}
    for app in APPS:
        for file in sorted((PROJECT / app).rglob("*")):
            if file.suffix == ".py" and "migrations" not in file.parts:
                said = of_python(file.read_text())
            elif file.suffix in (".html", ".txt") and "templates" in file.parts:
                said = of_template(file.read_text())
            else:
                continue
            for line, text in said:
                found.setdefault(text, []).append((str(file.relative_to(PROJECT)), str(line)))
    return found


def of_python(source: str) -> Iterator[tuple[int, Text]]:
    """The texts of a module, with their lines, whatever name gettext goes by in it."""
    tree = ast.parse(source)
    calls = CALLS | {
        name.asname: CALLS[name.name]
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        for name in node.names
        if name.asname and name.name in CALLS
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and (text := _of_call(node, calls)):
            yield node.lineno, text


def of_template(source: str) -> Iterator[tuple[int, Text]]:
    """The texts of a Django template, with their lines."""
    calls = templatize(source)
    for start in re.finditer(r"\b(?:n?p?gettext|_)\(", calls):
        for end in re.finditer(r"\)", calls[start.start() :]):
            try:
                tree = ast.parse(calls[start.start() : start.start() + end.end()], mode="eval")
            except SyntaxError:
                continue
            if isinstance(tree.body, ast.Call) and (text := _of_call(tree.body, CALLS)):
                yield calls.count("\n", 0, start.start()) + 1, text
            break


def _of_call(call: ast.Call, calls: dict[str, Places]) -> Text | None:
    name = call.func.id if isinstance(call.func, ast.Name) else ""
    if name not in calls:
        return None
    strings = [
        argument.value if isinstance(argument, ast.Constant) else None for argument in call.args
    ]
    picked = [strings[at] if at is not None and at < len(strings) else "" for at in calls[name]]
    if not all(isinstance(each, str) for each in picked) or not picked[1]:
        return None
    return Text(*picked)  # type: ignore[arg-type]  # each is a string, seen just above


def key(entry: polib.POEntry) -> Text:
    """A catalogue's entry as a text."""
    return Text(entry.msgctxt or "", entry.msgid, entry.msgid_plural or "")


def main() -> None:
    """Bring every language's catalogue up to date and say how much is untranslated."""
    said = texts()
    for po in sorted(LOCALE.glob("*/LC_MESSAGES/django.po")):
        catalogue = polib.pofile(str(po), wrapwidth=100)
        there = {key(entry): entry for entry in catalogue}
        catalogue.clear()
        for text, places in said.items():
            entry = there.get(text) or polib.POEntry(
                msgctxt=text.context or None,
                msgid=text.text,
                msgid_plural=text.plural,
                msgstr="",
                msgstr_plural={0: "", 1: ""} if text.plural else {},
            )
            entry.occurrences = [(file, "") for file in dict.fromkeys(file for file, _ in places)]
            entry.flags = ["python-format"] if re.search(r"%\(\w+\)", text.text) else []
            catalogue.append(entry)
        catalogue.save()
        missing = sum(not entry.translated() for entry in catalogue)
        print(f"{po.parent.parent.name}: {len(catalogue)} texts, {missing} untranslated")


if __name__ == "__main__":
    import os

    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "gearroom.settings")
    django.setup()
    main()
