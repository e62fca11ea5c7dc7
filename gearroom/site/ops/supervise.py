"""Keeps several programs running as one: started together, restarted alone, stopped together.

Each runs on a leash (gearroom.site.ops.leash), so that none outlives the supervisor. One that ends
is started again after a pause that doubles while it keeps ending soon. Until all is ready for the
first time an end is final: a program that can't start is told at once, not tried for ever.
"""

import os
import selectors
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic, sleep

STOP_SECONDS = 10.0
FIRST_PAUSE_SECONDS = 0.5
LONGEST_PAUSE_SECONDS = 30.0
STEADY_SECONDS = 60.0


@dataclass
class Program:
    """A Python module run with arguments; the rest is the supervisor's own account of it.

    One with `when_ready` is started when the others are ready, so that they have the cores first.
    """

    name: str
    module: str
    arguments: Sequence[str]
    pass_fds: Sequence[int] = ()
    when_ready: bool = False
    process: subprocess.Popen[bytes] | None = field(default=None, init=False)
    started: float = field(default=0.0, init=False)
    pause: float = field(default=0.0, init=False)
    due: float = field(default=0.0, init=False)


class Supervisor:
    """Runs programs until SIGINT or SIGTERM.

    env       the environment of the programs
    folder    the working folder of the programs
    is_ready  asked in a thread until it says True
    on_ready  then called once in that thread, and may take its time; what it raises stops all
    say       takes each line of what happens
    """

    def __init__(
        self,
        programs: Sequence[Program],
        *,
        env: Mapping[str, str],
        folder: Path,
        is_ready: Callable[[], bool],
        on_ready: Callable[[], None],
        say: Callable[[str], None],
    ) -> None:
        self.programs = programs
        self.env = dict(env)
        self.folder = folder
        self.is_ready = is_ready
        self.on_ready = on_ready
        self.say = say
        self._ready = threading.Event()
        self._failure: BaseException | None = None
        self._stopping = 0
        self._wake_read, self._wake_write = os.pipe()
        os.set_blocking(self._wake_read, False)
        os.set_blocking(self._wake_write, False)

    def run(self) -> int:
        """Run until stopped; 0, or 1 if a program ended before all was ready.

        Raises what `on_ready` raised, when all is stopped.
        """
        signal.set_wakeup_fd(self._wake_write, warn_on_full_buffer=False)
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, self._stop_soon)
        signal.signal(signal.SIGCHLD, lambda *_: None)
        threading.Thread(target=self._go_on_when_ready, daemon=True).start()
        try:
            code = self._watch()
        finally:
            self._stop_all()
        if self._failure is not None:
            raise self._failure
        return code

    def _stop_soon(self, *_: object) -> None:
        self._stopping += 1

    def _go_on_when_ready(self) -> None:
        while not self.is_ready():
            sleep(0.1)
        self._ready.set()
        self._wake()
        try:
            self.on_ready()
        except BaseException as failure:
            self._failure = failure
            self._wake()

    def _wake(self) -> None:
        with suppress(BlockingIOError):
            os.write(self._wake_write, b"\0")

    def _watch(self) -> int:
        while not self._stopping and self._failure is None:
            for program in self.programs:
                process = program.process
                if process is not None and process.poll() is not None:
                    if not self._ready.is_set():
                        self.say(f"{program.name} ended before all was ready; see above.")
                        return 1
                    self._restart_later(program, process)
                if self._wanted(program) and monotonic() >= program.due:
                    self._start(program)
            self._sleep()
        return 0

    def _wanted(self, program: Program) -> bool:
        return program.process is None and (self._ready.is_set() or not program.when_ready)

    def _sleep(self) -> None:
        """Until a signal, readiness or the next start that is due."""
        waiting = [program.due for program in self.programs if self._wanted(program)]
        timeout = max(0.0, min(waiting) - monotonic()) if waiting else None
        with selectors.DefaultSelector() as selector:
            selector.register(self._wake_read, selectors.EVENT_READ)
            selector.select(timeout)
        with suppress(BlockingIOError):
            while os.read(self._wake_read, 1024):
                pass

    def _start(self, program: Program) -> None:
        program.started = monotonic()
        program.process = subprocess.Popen(
            [sys.executable, "-m", "gearroom.site.ops.leash", program.module, *program.arguments],
            stdin=subprocess.PIPE,
            env=self.env,
            cwd=self.folder,
            pass_fds=program.pass_fds,
        )

    def _restart_later(self, program: Program, process: subprocess.Popen[bytes]) -> None:
        code = process.returncode
        self._release(program, process)
        if monotonic() - program.started > STEADY_SECONDS:
            program.pause = 0.0
        program.pause = min(LONGEST_PAUSE_SECONDS, program.pause * 2 or FIRST_PAUSE_SECONDS)
        program.due = monotonic() + program.pause
        how = f"exit code {code}" if code >= 0 else f"signal {signal.Signals(-code).name}"
        self.say(f"{program.name} ended ({how}); starting it again in {program.pause:g} s.")

    def _release(self, program: Program, process: subprocess.Popen[bytes]) -> None:
        if process.stdin is not None:
            process.stdin.close()
        program.process = None

    def _stop_all(self) -> None:
        """Ask all to stop; end those that have not when the time is up or at a second signal."""
        running = [(program, program.process) for program in self.programs if program.process]
        for _program, process in running:
            with suppress(ProcessLookupError):
                process.terminate()
        limit = monotonic() + STOP_SECONDS
        for program, process in running:
            while process.poll() is None:
                if monotonic() > limit or self._stopping > 1:
                    process.kill()
                    process.wait()
                else:
                    with suppress(subprocess.TimeoutExpired):
                        process.wait(0.1)
            self._release(program, process)
