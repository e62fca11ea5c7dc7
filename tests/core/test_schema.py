"""The schema and the doors say the same: each operation is called as the schema describes it, and
against what it describes, and every answer has to be one that the schema promises."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import Any

import pytest
import schemathesis
from django.core.cache import cache
from django.core.management import call_command
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_schema_conformance,
    status_code_conformance,
)

from gearroom.core.rules.roles import Role
from gearroom.wsgi import application
from tests.core.made import Caller, a_room, somebody


def no_quarrel_about_form(ctx: Any, response: Any, case: Any) -> None:
    """What the schema allows is not refused for its form, though it may be for what it says."""
    if response.status_code == 400:
        messages = str(json.loads(response.content).get("errors", ""))
        for words in ("This has to be", "may not hold control", "There is no such field"):
            assert words not in messages, messages


PROMISES = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
ALLOWED, NOT_ALLOWED = GenerationMode.POSITIVE, GenerationMode.NEGATIVE
CHECKS = {
    ALLOWED: [*PROMISES, no_quarrel_about_form],
    NOT_ALLOWED: [*PROMISES, negative_data_rejection],
}
# Times in years that gear can have: the schema says so in words only.
instants = st.integers(0, 7258118399).map(lambda s: datetime.fromtimestamp(s, UTC))
schemathesis.openapi.format("date", st.dates(date(1970, 1, 1), date(2199, 12, 31)).map(str))
schemathesis.openapi.format("date-time", instants.map(datetime.isoformat))

WITHOUT_KEY = {"/api/v1/labels/sheets/"}  # it prints, and changes nothing
SCHEMA = schemathesis.openapi.from_wsgi("/api/v1/schema/?format=json", application)
OPERATIONS = {found.ok().label: found.ok() for found in SCHEMA.get_all_operations()}


@pytest.fixture
def one_connection() -> Iterator[None]:
    """A whole WSGI request does not close the connection in whose transaction the test runs."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def somewhere(engine: str, db: None, one_connection: None) -> dict[str, Any]:
    """Things that are there, by the path parameters that name them, and who asks for them."""
    cache.clear()
    room = a_room()
    guide = somebody("guide", Role.GUIDE, room)
    caller = Caller(admin := somebody("admin", Role.ADMINISTRATOR))
    return {
        "authorization": f"Bearer {caller.secret}",
        "/people/": guide.person.pk,
        "/tokens/": Caller(admin).token.pk,
        "/rooms/": room.slug,
    }


def in_plain_numbers(value: Any) -> Any:
    """3.0 is an integer to JSON Schema, and cannot be told apart there; to the doors it is none."""
    if isinstance(value, dict):
        return {name: in_plain_numbers(inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [in_plain_numbers(inner) for inner in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value


def drive(label: str, mode: GenerationMode, there: Any, examples: int) -> None:
    """Call an operation with so many made-up requests; half of those that the schema allows name
    a thing that is there."""
    operation = OPERATIONS[label]

    @given(operation.as_strategy(generation_mode=mode), st.booleans())
    @settings(
        max_examples=examples,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.explicit, Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )
    def run(case: Any, name_one: bool) -> None:
        headers = {"Authorization": there["authorization"]}
        if mode is ALLOWED:
            case.body = in_plain_numbers(case.body)
            headers["Idempotency-Key"] = str(uuid.uuid4())
            for start, value in there.items():
                if name_one and case.path_parameters and start in case.path:
                    case.path_parameters = dict.fromkeys(case.path_parameters, value)
        cache.clear()
        response = case.call(headers=headers)
        case.validate_response(response, checks=CHECKS[mode])

    run()


@pytest.mark.parametrize("label", OPERATIONS)
def test_what_the_schema_allows_is_answered_as_it_says(label, somewhere):
    drive(label, ALLOWED, somewhere, 4)


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)  # little of it gets to a database
@pytest.mark.parametrize("label", OPERATIONS)
def test_what_the_schema_does_not_allow_is_refused_as_it_says(label, engine, somewhere):
    drive(label, NOT_ALLOWED, somewhere, 4)


@pytest.mark.long
@pytest.mark.parametrize("mode", CHECKS)
@pytest.mark.parametrize("label", OPERATIONS)
def test_it_stays_so_for_many_requests(label, mode, somewhere):
    drive(label, mode, somewhere, 60)


def test_the_schema_is_valid_and_made_without_a_warning(tmp_path):
    file = tmp_path / "schema.json"
    call_command("spectacular", "--validate", "--fail-on-warn", "--format", "openapi-json",
                 "--file", str(file))  # fmt: skip
    assert json.loads(file.read_text())["openapi"] == "3.1.0"


def test_every_operation_says_what_it_does_and_every_write_asks_for_a_key():
    raw = SCHEMA.raw_schema
    for path, methods in raw["paths"].items():
        for method, operation in methods.items():
            where = f"{method} {path}"
            assert operation.get("summary"), where
            names = {p["name"] for p in operation.get("parameters", ())}
            statuses = set(operation["responses"])
            assert {"400", "404", "429"} <= statuses, where
            if method in ("post", "put", "patch"):
                assert {"409", "413", "415", "422"} <= statuses, where
                assert ("Idempotency-Key" in names) == (path not in WITHOUT_KEY), where


def test_files_are_promised_in_multipart_bodies_only():
    found = 0
    for path, methods in SCHEMA.raw_schema["paths"].items():
        for operation in methods.values():
            content = operation.get("requestBody", {}).get("content", {})
            if "multipart/form-data" in content and "application/json" in content:
                found += 1
                assert "binary" not in str(content["application/json"]), path
    assert found
