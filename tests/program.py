"""The program in processes of its own, as people run it: `manage.py` commands and `serve`."""

import os
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from contextlib import suppress
from pathlib import Path
from typing import Self

from tests import keeper

PROJECT = keeper.PROJECT
START_SECONDS = 60


def environment(folder: Path, **more: str) -> dict[str, str]:
    """This environment less all that steers the program, with its own data folder."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("GEARROOM_", "DJANGO_", "PYTEST_"))
        and name not in ("DATABASE_URL", "CELERY_BROKER_URL", "EMAIL_URL", "SECRET_KEY")
    }
    own = {"GEARROOM_DATA_DIR": str(folder), "GEARROOM_QUIET_HOURS": ""}  # tests run at any hour
    return {**kept, "PYTHONUNBUFFERED": "1", **own, **more}


def manage(
    *arguments: str, env: dict[str, str], timeout: float = 120, check: bool = True
) -> subprocess.CompletedProcess[str]:
    """Run a `manage.py` command to its end; `check` raises with what it printed."""
    result = subprocess.run(
        [sys.executable, str(PROJECT / "manage.py"), *arguments],
        env=env,
        cwd=PROJECT,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=timeout,
    )
    if check and result.returncode:
        raise AssertionError(f"{arguments} exited {result.returncode}:\n{result.stderr}")
    return result


class Server:
    """`manage.py serve` in a process group of its own, on a free port, over a data folder.

    url     its address, for example http://127.0.0.1:41234, the same after a restart
    folder  its GEARROOM_DATA_DIR; its mail is in folder/outbox
    env     the environment that commands beside it need: manage(…, env=server.env)
    """

    def __init__(self, session: Path, folder: Path, env: dict[str, str]) -> None:
        self.session = session
        self.folder = folder
        self.env = env
        self.port = keeper.free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self.log = folder / "serve.log"
        self.ready_line = ""
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int:
        """The supervisor's process id, which is its group's too."""
        assert self._process is not None, "the server is not started"
        return self._process.pid

    def start(self, *options: str, wait: bool = True) -> Self:
        """Start it and wait until /health/ answers 200; it says what it printed if it does not."""
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, str(PROJECT / "manage.py"), "serve", "--port", str(self.port),
                 *options],
                env=self.env,
                cwd=PROJECT,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=log,
                start_new_session=True,
            )  # fmt: skip
        keeper.ask(self.session, watch=self._process.pid)
        if wait:
            self.wait_until_ready()
        return self

    def wait_until_ready(self) -> None:
        """`serve` prints its address on standard output once it answers."""
        assert self._process is not None and self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line:
            code = self._process.wait()
            raise AssertionError(f"serve exited {code}:\n{self.log.read_text()}")
        self.ready_line = line.decode()

    def kill(self) -> None:
        """`kill -9` of the whole group, as a power cut would."""
        assert self._process is not None
        with suppress(ProcessLookupError):
            os.killpg(self._process.pid, signal.SIGKILL)
        self._ended()

    def stop(self, signal_number: int = signal.SIGTERM, timeout: float = 30) -> int:
        """Ask it to stop; its exit code."""
        assert self._process is not None
        self._process.send_signal(signal_number)
        code = self._process.wait(timeout)
        self._ended()
        return code

    def restart(self) -> Self:
        """Kill it and start it again on the same port and data."""
        self.kill()
        return self.start()

    def _ended(self) -> None:
        assert self._process is not None
        self._process.wait(30)
        if self._process.stdout is not None:
            self._process.stdout.close()
        keeper.ask(self.session, release=self._process.pid)
        self._process = None

    def close(self) -> None:
        """Leave nothing behind, whatever state it is in."""
        if self._process is not None:
            self.kill()

    def manage(self, *arguments: str, check: bool = True) -> subprocess.CompletedProcess[str]:
        """A `manage.py` command over the same data."""
        return manage(*arguments, env=self.env, check=check)

    def get(self, path: str) -> tuple[int, bytes]:
        """Status and body of a plain GET."""
        try:
            with urllib.request.urlopen(self.url + path, timeout=30) as answer:
                return answer.status, answer.read()
        except urllib.error.HTTPError as problem:
            return problem.code, problem.read()
