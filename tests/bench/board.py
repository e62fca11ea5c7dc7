"""How long the board and the table of kits take the server:
`python -m tests.bench.board [KITS] [--url U] [--asked N]`.

A gear room with that many kits (500 unless told) at home in it, of which a tenth waits for a trip
of today, a tenth is out and due, a tenth waits to be sorted and a fifth holds something that ends
soon or is out of date. On SQLite in a folder of its own unless a database is given. Prints, for the
whole board, for its lines alone and for the table (100 kits a page), the median and the slowest in
twenty of so many requests (40 unless told) through all of Django: milliseconds on the clock and of
the processor (the same on a machine with nothing else to do); and the number of queries and what
the page weighs.
"""

import argparse
import gc
import os
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # models are loaded only once Django is set up
    from gearroom.core.models import User

ASKED = 40
MOST_MS = {"/": 150, "/board/lines/": 150, "/kits/": 200}
"""What each may take of a processor (the median): no queue at the hatch waits for it."""
NAMES = {"/": "the page", "/board/lines/": "its lines alone", "/kits/": "the table of kits"}


def main() -> None:
    """Make the school in a process of its own, then measure in another: exits 1 where too slow."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--url", help="an empty database; SQLite in a new folder unless given")
    parser.add_argument("--asked", type=int, default=ASKED, help="how many requests")
    parser.add_argument("kits", nargs="?", type=int, default=500)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="gearroom-bench-") as folder:
        env = {
            **os.environ,
            "DATABASE_URL": options.url or f"sqlite:///{Path(folder) / 'bench.sqlite3'}",
            "GEARROOM_DATA_DIR": str(Path(folder) / "data"),
            "DJANGO_SETTINGS_MODULE": "gearroom.settings",
        }
        migrate = [sys.executable, "manage.py", "migrate", "--verbosity=0"]
        subprocess.run(migrate, env=env, check=True)
        code = (
            f"from tests.bench import board; sys.exit(board.run({options.kits}, {options.asked}))"
        )
        sys.exit(subprocess.run([sys.executable, "-c", f"import sys; {code}"], env=env).returncode)


def run(kits: int, asked: int) -> int:
    """Make, measure and print; 1 where a median is over MOST_MS."""
    import django

    django.setup()
    from tests.bench import weekly

    weekly.ROOMS = 1
    weekly.make(kits)
    who = busy_day()
    slow = False
    for path, most in MOST_MS.items():
        times, worked, queries, weight = ask(who, path, asked)
        middle, late = statistics.median(times), statistics.quantiles(times, n=20)[-1]
        slow |= statistics.median(worked) > most
        print(
            f"{kits} kits, {NAMES[path]}: {middle:.0f} ms (one in twenty over {late:.0f} ms),"
            f" {statistics.median(worked):.0f} ms of the processor,"
            f" {queries} queries, {weight / 1024:.0f} KiB"
        )
    return int(slow)


def busy_day() -> "User":
    """Let trips leave today, kits be out and due, and others wait to be sorted; who looks."""
    from django.utils import timezone

    from gearroom.core.models import Membership, Person, Room, User
    from kits.models import Checkout, Entry, Kit, Trip

    now, today = timezone.now(), timezone.now().date()
    Trip.objects.update(departs_at=now + timedelta(minutes=5), first_day=today)
    entry = Entry.objects.earliest("id")
    people = list(Person.objects.all())
    by_ten = list(Kit.objects.order_by("name"))
    Checkout.objects.bulk_create(
        Checkout(
            kit=kit,
            person=people[n % len(people)],
            out_at=now - timedelta(days=1),
            due_at=now + timedelta(hours=n % 20 - 4),
            opened_by=entry,
        )
        for n, kit in enumerate(by_ten[1::10])
    )
    Kit.objects.filter(pk__in=[kit.pk for kit in by_ten[2::10]]).update(to_sort_since=now)
    user = User.objects.create_user("keeper")
    Membership.objects.create(person=user.person, role="keeper", room=Room.objects.get())
    return user


def ask(who: "User", path: str, asked: int) -> tuple[list[float], list[float], int, int]:
    """Milliseconds of each of so many requests, on the clock and of the processor; how many
    queries, and bytes."""
    from django.db import connection
    from django.test import Client

    client = Client(SERVER_NAME="localhost")
    client.force_login(who)
    counted = 0

    def count(execute: Any, *arguments: Any) -> Any:
        nonlocal counted
        counted += 1
        return execute(*arguments)

    times, worked = [], []
    for number in range(asked + 3):
        if number == 3:  # as gearroom.wsgi does when all is loaded
            gc.collect()
            gc.freeze()
        counted = 0
        started, before = time.perf_counter(), time.process_time()
        with connection.execute_wrapper(count):
            answer = client.get(path)
        if number >= 3:  # the first few load templates
            times.append((time.perf_counter() - started) * 1000)
            worked.append((time.process_time() - before) * 1000)
    assert answer.status_code == 200, answer.content[:500]
    return times, worked, counted, len(answer.content)


if __name__ == "__main__":
    main()
