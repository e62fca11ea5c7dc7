"""Which changes of an OpenAPI document break programs that were made for the document before.

A program goes on as it is where all that it may send is still taken, and all that it may be
answered was promised before. So one schema is held against another: whatever the one allows and the
other does not is a break; of what is sent the one is the former, of what is answered the new one.
Names that only generators read (of operations, of components) may change.
"""

import json
import re
from collections.abc import Iterator
from itertools import chain, combinations
from math import inf
from typing import Any

from jsonschema import Draft202012Validator

Part = dict[str, Any]
ANYTHING: Part = {}
_LEAST = {
    "minimum": -inf,
    "exclusiveMinimum": -inf,
    "minLength": 0,
    "minItems": 0,
    "minProperties": 0,
}
_MOST = ("maximum", "exclusiveMaximum", "maxLength", "maxItems", "maxProperties")
_SAME = ("pattern", "format", "multipleOf", "uniqueItems")
_PATTERNS = {"uuid": "^[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}$"}
"""Of formats that were said by a pattern later."""
_PRESENCE = ("if", "then", "else", "not", "allOf", "anyOf", "oneOf", "dependentRequired")
_ALL_VALUES = {"null": [None], "boolean": [False, True]}
_KNOWN = {
    *_LEAST, *_MOST, *_SAME, *_PRESENCE, "type", "enum", "const", "items", "properties", "required",
    "additionalProperties", "$ref", "default", "description", "title", "examples", "readOnly",
    "writeOnly", "deprecated",
}  # fmt: skip


def version_allows(released: str, current: str) -> bool:
    """Whether a version says that programs may have to change: by a higher major number, before 1.0
    by a higher minor one."""
    before, after = ([*map(int, version.split(".")), 0, 0][:2] for version in (released, current))
    return after[0] > before[0] or (before[0] == 0 and after > before)


def breaks(released: Part, current: Part) -> list[str]:
    """Each change of the current document that breaks programs made for the released one."""
    return list(dict.fromkeys(_Documents(released, current).breaks()))


class _Documents:
    """The document before and the one after."""

    def __init__(self, released: Part, current: Part) -> None:
        self._released, self._current = released, current
        self._sent = _Comparison(released, current, answered=False)
        self._answered = _Comparison(current, released, answered=True)

    def breaks(self) -> Iterator[str]:
        current = {_form(path): methods for path, methods in self._current["paths"].items()}
        for path, methods in self._released["paths"].items():
            for method, before in methods.items():
                label = f"{method} {path}"
                after = current.get(_form(path), {}).get(method)
                if after is None:
                    yield f"{label}: gone"
                    continue
                yield from self._parameters(label, before, after)
                yield from self._body(label, before, after)
                yield from self._answers(label, before, after)
        for name, methods in self._released.get("webhooks", {}).items():
            for method, before in methods.items():
                after = self._current.get("webhooks", {}).get(name, {}).get(method)
                if after is None:
                    yield f"{name}: gone"
                else:
                    yield from self._content(name, _body(before), _body(after), self._answered)

    def _parameters(self, label: str, before: Part, after: Part) -> Iterator[str]:
        old, new = _parameters(before), _parameters(after)
        for (place, name), parameter in old.items():
            if place == "path":
                continue
            if (place, name) not in new:
                yield f"{label}: the parameter {name} is gone"
                continue
            schema, its = parameter["schema"], new[place, name]["schema"]
            yield from self._sent.beyond(schema, its, f"{label} {name}")
        for (place, name), parameter in new.items():
            had = old.get((place, name), {})
            if place != "path" and parameter.get("required") and not had.get("required"):
                yield f"{label}: the parameter {name} has to be sent"

    def _body(self, label: str, before: Part, after: Part) -> Iterator[str]:
        old, new = before.get("requestBody", {}), after.get("requestBody", {})
        if new.get("required") and not old.get("required"):
            yield f"{label}: a body has to be sent"
        yield from self._content(label, _body(before), _body(after), self._sent)

    def _answers(self, label: str, before: Part, after: Part) -> Iterator[str]:
        if not _needs_somebody(before) and _needs_somebody(after):
            yield f"{label}: it has to be said who asks"
        old, new = before["responses"], after["responses"]
        for status in new:
            if status.startswith("2") and status not in old:
                yield f"{label}: answers {status}"
        for status in old.keys() & new.keys():
            was = _resolved(old[status], self._released)
            now = _resolved(new[status], self._current)
            for header in was.get("headers", {}).keys() - now.get("headers", {}).keys():
                yield f"{label} {status}: without the header {header}"
            where = f"{label} {status}"
            content = was.get("content", {}), now.get("content", {})
            yield from self._content(where, *content, self._answered)

    def _content(
        self, label: str, before: Part, after: Part, comparison: "_Comparison"
    ) -> Iterator[str]:
        for kind, old in before.items():
            if kind not in after:
                yield f"{label}: not as {kind}"
                continue
            schemas = old.get("schema", ANYTHING), after[kind].get("schema", ANYTHING)
            one, other = reversed(schemas) if comparison.answered else schemas
            yield from comparison.beyond(one, other, label)


def _form(path: str) -> str:
    return re.sub(r"\{\w+\}", "{}", path)


def _parameters(operation: Part) -> dict[tuple[str, str], Part]:
    return {(one["in"], one["name"]): one for one in operation.get("parameters", ())}


def _body(operation: Part) -> Part:
    content: Part = operation.get("requestBody", {}).get("content", {})
    return content


def _needs_somebody(operation: Part) -> bool:
    return all(operation.get("security", [{}]))


def _resolved(part: Part, document: Part) -> Part:
    """A part without references; it has the name of the component as its title."""
    while "$ref" in part:
        target: Any = document
        for name in part["$ref"].removeprefix("#/").split("/"):
            target = target[name]
        own = {word: value for word, value in part.items() if word != "$ref"}
        part = {**target, **own, "title": name}
    return part


class _Comparison:
    """What schemas of one document allow and those of the other do not."""

    def __init__(self, one: Part, other: Part, answered: bool) -> None:
        self._one, self._other, self.answered = one, other, answered
        self._known: dict[tuple[int, int], list[str]] = {}

    def beyond(self, one: Part, other: Part, at: str) -> list[str]:
        """Where the one allows more; both are parts of the documents, which outlive this."""
        key = id(one), id(other)
        if key not in self._known:
            self._known[key] = []  # of what lies inside itself, while it is looked at
            self._known[key] = list(self._beyond(one, other, at))
        return self._known[key]

    def _beyond(self, one: Part, other: Part, at: str) -> Iterator[str]:
        if not self.answered and (default := one.get("default", other.get("default"))) != (
            other.get("default")
        ):
            yield f"{at}: where nothing is sent, no longer {json.dumps(default)}"
        theirs = _alternatives(other, self._other)
        for mine in _alternatives(one, self._one):
            where = mine.get("title", at)
            values = mine.get("enum", _ALL_VALUES.get(mine.get("type", "")))
            if "const" in mine:
                values = [mine["const"]]
            if values is not None:
                taken = Draft202012Validator({"components": self._other.get("components"), **other})
                for value in values:
                    if _is_of(value, mine) and not taken.is_valid(value):
                        yield f"{where}: {json.dumps(value)}"
                continue
            alike = [its for its in theirs if _takes_type(mine, its)] or theirs
            differences = [list(self._of_one_type(mine, its, where)) for its in alike]
            if all(differences):
                yield from min(differences, key=len)

    def _of_one_type(self, one: Part, other: Part, at: str) -> Iterator[str]:
        mine = one.get("type", "any value")
        if not _takes_type(one, other):
            yield f"{at}: {mine}, not {other['type']}"
            return
        if "enum" in other or "const" in other:
            yield f"{at}: other values"
        for word, default in _LEAST.items():
            if word in other and one.get(word, default) < other[word]:
                yield f"{at}: {word}"
        for word in _MOST:
            if word in other and one.get(word, inf) > other[word]:
                yield f"{at}: {word}"
        pattern = _PATTERNS.get(one.get("format", ""))
        for word in _SAME:
            if word in other and other[word] not in (one.get(word), pattern):
                yield f"{at}: {word}"
        if mine == "array":
            yield from self.beyond(
                one.get("items", ANYTHING), other.get("items", ANYTHING), f"{at}[]"
            )
        if mine == "object":
            yield from self._members(one, other, at)

    def _members(self, one: Part, other: Part, at: str) -> Iterator[str]:
        mine, its = one.get("properties", {}), other.get("properties", {})
        rest, other_rest = (each.get("additionalProperties", True) for each in (one, other))
        if self.answered:
            yield from (f"{at}.{name}: gone" for name in its.keys() - mine.keys())
        for name, schema in mine.items():
            if name in its:
                yield from self.beyond(schema, its[name], f"{at}.{name}")
            elif other_rest is False:
                yield f"{at}.{name}: gone"
            elif isinstance(other_rest, dict):
                yield from self.beyond(schema, other_rest, f"{at}.{name}")
        if rest is not False and other_rest is not True:
            if other_rest is False or rest is True:
                yield f"{at}: other members"
            else:
                yield from self.beyond(rest, other_rest, f"{at}.*")
        for name in set(other.get("required", ())) - set(one.get("required", ())):
            yield f"{at}.{name}: " + ("may be missing" if self.answered else "has to be there")
        if not _rules_within(one, other):
            yield f"{at}: which members go together"


def _alternatives(schema: Part, document: Part) -> list[Part]:
    """What a schema stands for: each of one type, with nothing to look up."""
    schema = _resolved(schema, document)
    parts = schema.get("allOf", [])
    if any("$ref" in part for part in parts):
        others = {word: value for word, value in schema.items() if word != "allOf"}
        for part in parts:
            others = {**_resolved(part, document), **others}
        schema = others
    if unknown := schema.keys() - _KNOWN:
        raise ValueError(f"Nothing here knows how to compare {', '.join(sorted(unknown))}.")
    for word in ("oneOf", "anyOf"):
        if word in schema and not _is_rule(schema[word]):
            rest = {name: value for name, value in schema.items() if name != word}
            return [
                alternative
                for one in schema[word]
                for alternative in _alternatives({**rest, **_resolved(one, document)}, document)
            ]
    types = schema.get("type")
    if isinstance(types, list):
        return [{**schema, "type": each} for each in types]
    return [schema]


def _takes_type(one: Part, other: Part) -> bool:
    types = one.get("type"), other.get("type")
    return types[1] in (None, types[0]) or types == ("integer", "number")


def _is_rule(parts: list[Part]) -> bool:
    """Whether these say only which members have to be there."""
    return all(set(part) <= {"required", *_PRESENCE} for part in parts)


def _is_of(value: Any, schema: Part) -> bool:
    kind = {"type": schema["type"]} if "type" in schema else {}
    return bool(Draft202012Validator(kind).is_valid(value))


def _rules_within(one: Part, other: Part) -> bool:
    """Whether all sets of members that the one's rules allow are allowed by the other's."""
    rules, others = (
        {word: each[word] for word in _PRESENCE if word in each} for each in (one, other)
    )
    if others in ({}, rules):
        return True
    names = sorted(_names([rules, others]))
    always = dict.fromkeys(one.get("required", ()))
    subsets = chain.from_iterable(combinations(names, size) for size in range(len(names) + 1))
    allowed, taken = Draft202012Validator(rules), Draft202012Validator(others)
    return all(
        taken.is_valid(members)
        for members in ({**always, **dict.fromkeys(subset)} for subset in subsets)
        if allowed.is_valid(members)
    )


def _names(value: Any) -> set[str]:
    """The members that rules name."""
    if isinstance(value, str):
        return {value}
    if isinstance(value, dict):
        named = set(value.get("dependentRequired", ()))
        return named.union(*map(_names, value.values()))
    return set().union(*map(_names, value))
