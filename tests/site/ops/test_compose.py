"""docker-compose.yml as it stands: its own commands run here, without containers."""

import os
import re
import secrets
import signal
import subprocess
import sys
import urllib.request
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
import redis
import yaml

from gearroom import settings as program_settings
from tests.keeper import free_port
from tests.program import PROJECT, environment
from tests.waiting import until

COMPOSE = yaml.safe_load((PROJECT / "docker-compose.yml").read_text())
DOCKERFILE = (PROJECT / "Dockerfile").read_text()
OURS = ("migrate", "web", "worker", "scheduler")
LIMIT_SECONDS = 60
postgresql = pytest.mark.parametrize("engine", ["postgresql"], indirect=True)


def test_it_has_one_image_for_everything_of_ours_and_a_service_for_each_need() -> None:
    assert set(COMPOSE["services"]) == {*OURS, "database", "broker"}
    assert {COMPOSE["services"][name]["image"] for name in OURS} == {"gearroom"}


def test_it_carries_no_secret() -> None:
    for name, service in COMPOSE["services"].items():
        for variable, value in service.get("environment", {}).items():
            if re.search("PASSWORD|SECRET|EMAIL_URL", variable):
                assert value.startswith("${"), (name, variable)
    assert "set it in .env" in COMPOSE["x-app"]["environment"]["SECRET_KEY"]


def test_it_sets_only_variables_that_the_program_reads() -> None:
    source = Path(program_settings.__file__).read_text()
    names = set(COMPOSE["x-app"]["environment"]) - {"FORWARDED_ALLOW_IPS"}  # gunicorn's own
    assert {name for name in names if f'"{name}"' not in source} == set()


def test_it_waits_for_the_database_and_says_when_each_server_is_well() -> None:
    services = COMPOSE["services"]
    assert all("healthcheck" in services[name] for name in ("database", "broker", "web"))
    for name in ("web", "worker", "scheduler"):
        assert services[name]["depends_on"]["migrate"]["condition"] == (
            "service_completed_successfully"
        )


def test_its_image_runs_as_nobody_special_and_holds_all_of_the_program() -> None:
    lines = DOCKERFILE.splitlines()
    user = next(index for index, line in enumerate(lines) if line.startswith("USER "))
    assert lines[user] == "USER gearroom"
    assert not any(line.startswith("RUN") for line in lines[user:])
    copied = set(re.findall(r"^COPY (?!--from)(\S+)", DOCKERFILE, re.M))
    assert copied >= {"gearroom", "kits", "labels", "manage.py", "pyproject.toml"}
    ignored = (PROJECT / ".dockerignore").read_text().split()
    assert {name for name in copied if f"!{name}" not in ignored} == set()


@postgresql
@pytest.mark.server
def test_its_commands_serve_work_and_schedule(
    engine: str, own_database: str, redis_url: str, tmp_path: Path
) -> None:
    env = environment(
        tmp_path,
        DATABASE_URL=own_database,
        CELERY_BROKER_URL=redis_url,
        SECRET_KEY=secrets.token_urlsafe(48),
        EMAIL_URL="consolemail://",
        GEARROOM_PUBLIC_URL="https://gear.example.org",
        PATH=f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
    )
    port = free_port()

    def command(service: str) -> list[Any]:
        words = COMPOSE["services"][service]["command"]
        return [word.replace("0.0.0.0:8000", f"127.0.0.1:{port}") for word in words]

    def start(stack: ExitStack[bool | None], service: str) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(command(service), env=env, cwd=PROJECT, start_new_session=True)
        stack.callback(process.wait)
        stack.callback(os.killpg, process.pid, signal.SIGKILL)
        return process

    def well() -> bool:
        (program,) = COMPOSE["services"]["web"]["healthcheck"]["test"][3:]
        code = program.replace(":8000", f":{port}")
        return subprocess.run([sys.executable, "-c", code], capture_output=True).returncode == 0

    with ExitStack() as stack:
        subprocess.run(command("migrate"), env=env, cwd=PROJECT, check=True)
        processes = [start(stack, name) for name in ("web", "worker", "scheduler")]
        until(well, "the web answers", LIMIT_SECONDS)
        request = urllib.request.Request(
            f"http://127.0.0.1:{port}/health/", headers={"Host": "gear.example.org"}
        )
        with urllib.request.urlopen(request, timeout=LIMIT_SECONDS) as answer:
            assert answer.status == 200
        call = ["celery", "--app=gearroom", "call", "celery.backend_cleanup"]
        subprocess.run(call, env=env, cwd=PROJECT, check=True, capture_output=True)
        with redis.Redis.from_url(redis_url) as queue:
            until(
                lambda: queue.llen("celery") == 0 and queue.hlen("unacked") == 0,
                "the queue is empty",
                LIMIT_SECONDS,
            )
        assert [process.poll() for process in processes] == [None] * 3
