"""A new installation in processes of its own: two who claim at once, and the printed code."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connections

from gearroom.core.acts import Problem
from gearroom.core.models import Room, User
from gearroom.core.services.installation import claiming
from gearroom.core.services.installation.claiming import Claim
from tests.program import Server
from tests.site.installation.test_claiming import SAYS


def test_of_two_who_claim_at_once_one_is_first(open_database: str) -> None:
    def claim(name: str) -> str:
        values = {**SAYS, "username": name, "name": name, "signs": False}
        try:
            claiming.claim(claiming.code(), Claim(**values))  # type: ignore[arg-type]  # as typed
            return "first"
        except Problem as problem:
            return problem.code
        finally:
            connections.close_all()

    with ThreadPoolExecutor(4) as pool:
        came_of_it = sorted(pool.map(claim, ("ann", "ben", "cat", "dan")))

    assert came_of_it == ["claimed-already"] * 3 + ["first"]
    assert User.objects.count() == Room.objects.count() == 1


@pytest.mark.server
@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_serve_says_the_code_until_it_is_claimed(make_server: Callable[..., Server]) -> None:
    server = make_server().start()
    status, page = server.get("/sign-in/")
    assert status == 200 and b"Set up this installation" in page
    assert server._process is not None and server._process.stdout is not None
    line = server._process.stdout.readline().decode()
    assert "/begin/" in line and len(line.split()[-1]) == len("xxxx-xxxx-xxxx")
