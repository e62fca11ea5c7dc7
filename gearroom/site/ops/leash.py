"""Runs a Python program that ends when whoever started it is gone.

`python -m gearroom.site.ops.leash MODULE ARGUMENTS…` runs MODULE as `python -m` would. Its standard
input is a pipe that the supervisor holds open and never writes to. Should the supervisor die, even
of kill -9, the pipe closes: the program is asked to stop, and ended if it does not. This works the
same on Linux and macOS, where only one of them can ask the kernel for a signal at a parent's death.
"""

import os
import runpy
import signal
import sys
import threading

GRACE_SECONDS = 5.0


def _end_when_let_go() -> None:
    while os.read(0, 1024):
        pass
    os.kill(os.getpid(), signal.SIGTERM)
    threading.Event().wait(GRACE_SECONDS)
    os.kill(os.getpid(), signal.SIGKILL)


def main() -> None:
    """Watch standard input in a thread and become the program."""
    threading.Thread(target=_end_when_let_go, daemon=True).start()
    module = sys.argv[1]
    sys.argv = sys.argv[1:]
    runpy.run_module(module, run_name="__main__", alter_sys=True)


if __name__ == "__main__":
    main()
