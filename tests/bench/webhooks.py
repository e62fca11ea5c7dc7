"""How many events a webhook gets in a second: `python -m tests.bench.webhooks [EVENTS]`.

So many events (10,000 unless given) go to a server in a process of its own, which accepts each at
once: by `kits.services.webhooks.sending`, with its signatures and its record of what was sent, and
a tenth of them by a bare loop over the client. On SQLite in a folder of its own. Prints for both
how many arrive in a second and what this process needs of a processor for each; exits 1 where that
is more than MOST_TIMES as much as in the bare loop.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

MOST_TIMES = 4.0
_SERVER = """
import sys
from pathlib import Path
from tests.https_server import HttpsServer
server = HttpsServer(Path(sys.argv[1]))
print(server.port, flush=True)
sys.stdin.read()
"""


def main() -> None:
    """Make a database and a server, and measure: exits 1 where it is too slow."""
    parser = argparse.ArgumentParser()
    parser.add_argument("events", nargs="?", type=int, default=10_000)
    events: int = parser.parse_args().events
    from tests.https_server import certificate

    with tempfile.TemporaryDirectory(prefix="gearroom-bench-") as folder:
        authority, pem = certificate(Path(folder))
        server = subprocess.Popen(
            [sys.executable, "-c", _SERVER, str(pem)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        assert server.stdout is not None  # it is a pipe
        port = int(server.stdout.readline())
        os.environ |= {
            "DATABASE_URL": f"sqlite:///{Path(folder) / 'bench.sqlite3'}",
            "DJANGO_SETTINGS_MODULE": "gearroom.settings",
            "GEARROOM_DATA_DIR": str(Path(folder) / "data"),
            "GEARROOM_INTERNAL_HOSTS": f"localhost:{port}",
            "SSL_CERT_FILE": str(authority),
        }
        try:
            subprocess.run([sys.executable, "manage.py", "migrate", "--verbosity=0"], check=True)
            too_slow = run(events, port)
        finally:
            server.kill()
    sys.exit(too_slow)


def run(count: int, port: int) -> bool:
    """Measure and print; whether it is too slow."""
    import django

    django.setup()
    from gearroom.core.outbound import Client
    from kits.services.webhooks import content, sending
    from tests.kits.webhooks.making import made, written

    webhook, secret = made(port)
    events = written(count)

    def bare() -> int:
        each = events[: max(count // 10, 1)]
        with Client() as client:
            for event in each:
                body = b'{"type":"kit.checked_out"}'
                headers = content.headers(event.message_id, event.recorded_at, body, [secret])
                assert client.send(webhook.address, body, headers).status == 200
        return len(each)

    def sent() -> int:
        every = 0
        while every < count:
            every += sending.send(webhook.pk) or 0
        return every

    loop = _measured("a bare loop over the client", bare)
    ours = _measured("a webhook", sent)
    print(f"{count} events: {ours / loop:.2f} of the processor of a bare loop")
    return ours > MOST_TIMES * loop


def _measured(what: str, perform: Callable[[], int]) -> float:
    """Print how it goes; seconds of the processor for each event."""
    clock, processor = time.perf_counter(), time.process_time()
    count = perform()
    clock, processor = time.perf_counter() - clock, time.process_time() - processor
    print(
        f"{what}: {count} events, {count / clock:.0f} a second,"
        f" {1e6 * processor / count:.0f} µs of the processor each"
    )
    return processor / count


if __name__ == "__main__":
    main()
