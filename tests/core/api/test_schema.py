"""The schema and the doors say the same: each operation is called as the schema describes it, and
against what it describes, and every answer has to be one that the schema promises.

What the schema allows is never refused for its form (400): it is done, or refused for who asks, for
what is there, or for what it means.
"""

import copy
import json
import uuid
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from django.core.cache import cache
from django.core.management import call_command
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase, given, settings, strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    allow_header_conformance,
    content_type_conformance,
    negative_data_rejection,
    positive_data_acceptance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)

from gearroom.core.models import Installation
from gearroom.core.models.installation import remember
from gearroom.wsgi import application
from tests.core.api.known_things import Known, known_things

PROMISES = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    allow_header_conformance,
    unsupported_method,
]
ALLOWED, NOT_ALLOWED = GenerationMode.POSITIVE, GenerationMode.NEGATIVE
CHECKS = {
    ALLOWED: [*PROMISES, positive_data_acceptance],
    NOT_ALLOWED: [*PROMISES, negative_data_rejection],
}
# Times in years that gear can have: the schema says so by a pattern, which is slow to draw from.
instants = st.integers(0, 7258118399).map(lambda s: datetime.fromtimestamp(s, UTC))
schemathesis.openapi.format("date", st.dates(date(1970, 1, 1), date(2199, 12, 31)).map(str))
schemathesis.openapi.format("date-time", instants.map(datetime.isoformat))

WITHOUT_KEY = {"/api/v1/labels/sheets/"}  # it prints, and changes nothing
remember(Installation())  # no test has a database yet, and the schema asks nothing of it
SCHEMA = schemathesis.openapi.from_wsgi("/api/v1/schema/?format=json", application)
SCHEMA.config.checks.positive_data_acceptance.expected_statuses = [
    "2xx", "304", "403", "404", "409", "412", "413", "415", "422",
]  # fmt: skip
# 415 is for a file: a schema cannot say what bytes are a picture or a page.
OPERATIONS: dict[str, Any] = {
    operation.label: operation
    for operation in (found.ok() for found in SCHEMA.get_all_operations())  # type: ignore[union-attr]  # ours is valid
}


@pytest.fixture
def one_connection() -> Iterator[None]:
    """A whole WSGI request does not close the connection in whose transaction the test runs."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def known(engine: str, db: None, one_connection: None) -> Known:
    """Things that are there, by the names that requests have for them, and who asks."""
    cache.clear()
    return known_things()


def drive(label: str, mode: GenerationMode, known: Known, examples: int) -> None:
    """Call an operation with so many made-up requests; three in four of those that the schema
    allows name things that are there, so that they get as far as a service."""
    operation = OPERATIONS[label]

    # The first request that is made up is the simplest: it names them.
    @given(operation.as_strategy(generation_mode=mode), st.sampled_from([True, True, True, False]))
    @settings(
        max_examples=examples,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.explicit, Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )
    def run(case: Any, name_them: bool) -> None:
        headers = {"Authorization": known.authorization}
        if mode is ALLOWED:
            headers["Idempotency-Key"] = str(uuid.uuid4())
            if name_them:
                known.name_in(case)
        cache.clear()
        response = case.call(headers=headers)
        case.validate_response(response, checks=CHECKS[mode])

    run()


@pytest.mark.parametrize("label", OPERATIONS)
def test_what_the_schema_allows_is_answered_as_it_says(label: Any, known: Known) -> None:
    drive(label, ALLOWED, known, 2)


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)  # little of it gets to a database
@pytest.mark.parametrize("label", OPERATIONS)
def test_what_the_schema_does_not_allow_is_refused_as_it_says(
    label: Any, engine: str, known: Known
) -> None:
    drive(label, NOT_ALLOWED, known, 1)


WITH_EXAMPLE = [
    label
    for label, operation in OPERATIONS.items()
    if "application/json" in operation.definition.raw.get("requestBody", {}).get("content", {})
]


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)  # of the schema, not of a database
@pytest.mark.parametrize("label", WITH_EXAMPLE)
def test_the_example_of_a_body_is_done_or_refused_as_things_stand(
    label: Any, engine: str, known: Known
) -> None:
    operation = OPERATIONS[label]
    content = operation.definition.raw["requestBody"]["content"]["application/json"]
    case = operation.Case(
        method=operation.method,
        body=copy.deepcopy(content["example"]),
        media_type="application/json",
        path_parameters={
            p["name"]: p["example"]
            for p in operation.definition.raw.get("parameters", ())
            if p["in"] == "path"
        },
    )
    known.name_in(case)
    key = {"Idempotency-Key": str(uuid.uuid4())}
    response = case.call(headers={"Authorization": known.authorization, **key})
    assert response.status_code in (200, 201, 409), response.content


MAY_BE_EMPTY = [
    label
    for label, operation in OPERATIONS.items()
    if not operation.definition.raw.get("requestBody", {"required": True}).get("required")
]


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)  # of the schema, not of a database
@pytest.mark.parametrize("label", MAY_BE_EMPTY)
def test_a_body_that_need_not_be_sent_is_no_fault_of_form_where_it_is_missing(
    label: Any, engine: str, known: Known
) -> None:
    operation = OPERATIONS[label]
    case = operation.Case(
        method=operation.method,
        path_parameters={
            p["name"]: p["example"]
            for p in operation.definition.raw.get("parameters", ())
            if p["in"] == "path"
        },
    )
    known.name_in(case)
    key = {"Idempotency-Key": str(uuid.uuid4())}
    response = case.call(headers={"Authorization": known.authorization, **key})
    assert response.status_code != 400, response.content


@pytest.mark.long
@pytest.mark.parametrize("mode", CHECKS)
@pytest.mark.parametrize("label", OPERATIONS)
def test_it_stays_so_for_many_requests(label: Any, mode: GenerationMode, known: Known) -> None:
    drive(label, mode, known, 120)


def test_the_schema_is_valid_and_made_without_a_warning(tmp_path: Path) -> None:
    file = tmp_path / "schema.json"
    call_command("spectacular", "--validate", "--fail-on-warn", "--format", "openapi-json",
                 "--file", str(file))  # fmt: skip
    assert json.loads(file.read_text())["openapi"] == "3.1.0"


def test_every_operation_says_what_it_does_and_every_write_asks_for_a_key() -> None:
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


def test_files_are_promised_in_multipart_bodies_only() -> None:
    found = 0
    for path, methods in SCHEMA.raw_schema["paths"].items():
        for operation in methods.values():
            content = operation.get("requestBody", {}).get("content", {})
            if "multipart/form-data" in content and "application/json" in content:
                found += 1
                assert "binary" not in str(content["application/json"]), path
    assert found
