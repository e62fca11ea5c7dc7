"""A client that a library makes of the schema, and nothing else, does the uses of README."""

import importlib
import json
import uuid
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from openapi_python_client import generate
from openapi_python_client.config import Config, ConfigFile, MetaType

from gearroom.core import clock
from gearroom.core.rules.roles import Scope
from kits.services.labelling import labelling
from tests.core.api.made import Caller
from tests.core.api.test_schema_valid import DOCUMENT
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.web import Web

PACKAGE = "generated_client"
CONFIG = ConfigFile(
    post_hooks=[],
    content_type_overrides=dict.fromkeys(
        ("application/pdf", "image/png", "image/svg+xml", "text/calendar"),
        "application/octet-stream",
    ),
)
"""Formats that the library has no type for are bytes to it."""


class Client:
    """The package of the generated client in a folder, with a program's token."""

    def __init__(self, folder: Path, url: str, secret: str) -> None:
        (folder / "schema.json").write_text(json.dumps(DOCUMENT))
        warnings = generate(
            config=Config.from_sources(
                CONFIG, MetaType.NONE, folder / "schema.json", "utf-8", False, folder / PACKAGE
            )
        )
        assert [f"{warning.header} {warning.detail}" for warning in warnings] == []
        self.models = self._module("models")
        self._client = self._module("client").AuthenticatedClient(
            url, secret, timeout=60, raise_on_unexpected_status=True
        )

    def _module(self, name: str) -> ModuleType:
        return importlib.import_module(f"{PACKAGE}.{name}")

    def __call__(self, status: int, operation: str, *path: str, **arguments: Any) -> Any:
        """What an operation answers, as its model; a write has a new key."""
        if not operation.endswith(("_show", "_list")):
            arguments.setdefault("idempotency_key", str(uuid.uuid4()))
        module = self._module(f"api.{operation.partition('_')[0]}.{operation}")
        answer = module.sync_detailed(*path, client=self._client, **arguments)
        assert answer.status_code == status, answer.content
        return answer.parsed


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)  # what is tested is the schema
def test_a_client_made_of_the_schema_alone_does_what_readme_shows(
    make_web: Callable[[], Web],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    engine: str,
) -> None:
    w = make.world()
    (label,) = labelling.labels_for(make.act(w.keeper), [w.day_01], w.store)
    monkeypatch.syspath_prepend(tmp_path)
    program = Caller(present(w.keeper.user), [Scope.READ, Scope.TRIPS, Scope.CUSTODY])
    client = Client(tmp_path, make_web().start().url, program.secret)
    m = client.models

    # a trip under its own reference, the kits that suit it, one of them reserved
    departs = clock.now() + timedelta(hours=1)
    trip = m.TripBodyRequest(
        name="Hill day",
        room="main-store",
        departs_at=departs,
        returns_at=departs + timedelta(hours=5),
        people=4,
    )
    key = str(uuid.uuid4())
    for _ in range(2):  # the second gets the first answer
        sent = client(201, "trips_put", "bookings", "B-1", body=trip, idempotency_key=key)
    proposal = client(200, "trips_proposal_post", "bookings", "B-1", body=m.ActBodyRequest())
    assert proposal.proposed == ["DAY-01"]
    reserve = m.ReserveBodyRequest(kit="DAY-01", trip="bookings:B-1")
    reservation = client(201, "reservations_post", body=reserve).reservation
    assert [each.id for each in client(200, "reservations_list").results] == [reservation.id]

    # the kit is scanned out by a photo of its label, and in again with what was used
    photo = m.ScanPictureRequest(
        image=importlib.import_module(f"{PACKAGE}.types").File(
            payload=scanned.symbol(label.code), file_name="kit.jpg", mime_type="image/jpeg"
        ),
        intent=m.ScanPictureRequestIntent.CHECK_OUT,
        holder=str(w.guide.pk),
    )
    (out,) = client(201, "scans_post", body=photo).outcomes
    assert (out.outcome, out.kit.trip) == ("taken-out", sent.trip.id)
    back = m.ScanTextsRequest(
        text="DAY-01",
        intent=m.ScanTextsRequestIntent.CHECK_IN,
        as_found=m.ScanTextsRequestAsFound.OPENED,
        used=[m.UsedBodyRequest(item=w.dressing.pk, units=2)],
    )
    client(201, "scans_post", body=back)
    assert [each.units for each in client(200, "kits_restock_show", "DAY-01").put_in] == [2]

    # kits for all trips together; the trip is cancelled; what is refused is a problem with its code
    assert [each.reference for each in client(200, "plans_trips_show").trips] == ["B-1"]
    trip.cancelled = True
    cancelled = client(200, "trips_put", "bookings", "B-1", body=trip)
    assert cancelled.trip.cancelled_at is not None
    refused = client(409, "reservations_post", body=reserve)
    assert refused.code == "trip-cancelled" and refused.detail
