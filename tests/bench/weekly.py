"""How long the weekly emails take: `python -m tests.bench.weekly [--url DATABASE_URL] [KITS…]`.

Makes kits, holdings (40 a kit) and people (one for 20 kits) by bulk inserts in a database of its
own, composes everybody's email with its attached list, and prints time, memory, queries a person
and the growth. Without a url it starts a PostgreSQL by itself. What it composes are the bytes
that would be sent; nothing is sent.
"""

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

SIZES = (1_000, 10_000)
HOLDINGS, KITS_A_PERSON, ROOMS, ITEMS = 40, 20, 20, 120


def main() -> None:
    """One process a size, so that each one's peak of memory is its own."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--url", help="a PostgreSQL server to make databases on")
    parser.add_argument("--template", help="a database there with our tables, to copy")
    parser.add_argument("sizes", nargs="*", type=int, default=list(SIZES))
    options = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="gearroom-bench-"))
    keeper = None
    if options.url is None:
        from tests import keeper as keepers

        keeper = keepers.start(folder)
        options.url = str(keepers.ask(folder, want="postgresql")["url"])
    try:
        report(options.url, options.template, options.sizes, folder)
    finally:
        if keeper is not None:
            keepers.stop(keeper)


def report(url: str, template: str | None, sizes: list[int], folder: Path) -> None:
    import psycopg

    rows = []
    for size in sizes:
        name = f"bench_{size}_{os.getpid()}"
        with psycopg.connect(url, autocommit=True) as admin:
            admin.execute(f"CREATE DATABASE {name} TEMPLATE {template or 'template1'}")
        env = {
            **os.environ,
            "DATABASE_URL": f"{url.rsplit('/', 1)[0]}/{name}",
            "GEARROOM_DATA_DIR": str(folder / "data"),
            "DJANGO_SETTINGS_MODULE": "gearroom.settings",
        }
        subprocess.run(
            [sys.executable, "manage.py", "migrate", "--verbosity=0"], env=env, check=True
        )
        for part in ("make", "measure"):
            code = f"from tests.bench import weekly; weekly.run({part!r}, {size})"
            done = subprocess.run(
                [sys.executable, "-c", code], env=env, check=True, capture_output=True, text=True
            )
        seconds, cpu, memory, queries, people, kits_open = map(float, done.stdout.split(","))
        rows.append((size, seconds, cpu))
        print(
            f"{size:>6} kits, {size * HOLDINGS:>7} holdings, {people:.0f} people:"
            f" {seconds:6.1f} s ({cpu:.1f} s of processor), {memory:.0f} MB at most,"
            f" {queries:.1f} queries a person, {kits_open:.0f} kits to open",
            flush=True,
        )
        with psycopg.connect(url, autocommit=True) as admin:
            admin.execute(f"DROP DATABASE {name} WITH (FORCE)")
    if len(rows) > 1:
        (small, quick, little), (large, slow, much) = rows[0], rows[-1]
        print(
            f"{large / small:.0f} times the kits take {slow / quick:.1f} times as long,"
            f" {much / little:.1f} times the processor"
        )


def run(part: str, size: int) -> None:
    import django

    django.setup()
    if part == "make":
        make(size)
    else:
        print(",".join(f"{n:.3f}" for n in measure()))


def make(size: int) -> None:
    """A school of that many kits, a fifth of them with something that ends within the fortnight,
    a tenth promised to a trip of the week."""
    from django.db import connection
    from django.utils import timezone

    from gearroom.core.models import Person, Room
    from kits.models import (
        Entry,
        EntryKind,
        Holding,
        Item,
        Kit,
        ListLine,
        ListSection,
        Lot,
        PackingList,
        PackingListVersion,
        Place,
        PlaceKind,
        Reservation,
        Trip,
    )  # fmt: skip
    from kits.services.ledger import readiness

    now, today = timezone.now(), date.today()  # noqa: DTZ011
    rooms = Room.objects.bulk_create(
        Room(name=f"Room {n}", slug=f"room-{n}", time_zone="UTC") for n in range(ROOMS)
    )
    people = Person.objects.bulk_create(
        Person(
            name=f"Person {n}", email=f"p{n}@example.org", phone="01632 960000",
            home_room=rooms[n % ROOMS], created_at=now - timedelta(days=99),
        )
        for n in range(max(size // KITS_A_PERSON, 1))
    )  # fmt: skip
    items = Item.objects.bulk_create(
        Item(name=f"Thing {n}", kind="consumable", base_unit="piece") for n in range(ITEMS)
    )
    version = PackingListVersion.objects.create(
        packing_list=PackingList.objects.create(name="Day walk"), number=1, people=10, days=2,
        created_at=now, published_at=now, signed_by=people[0], signed_on=today,
        signed_until=today + timedelta(days=400),
    )  # fmt: skip
    section = ListSection.objects.create(version=version, key="main", name="Main")
    ListLine.objects.bulk_create(
        ListLine(section=section, item=items[n], carry=4, never_below=2, position=n)
        for n in range(HOLDINGS)
    )
    # Batches: of each thing one that ends soon and some that last.
    lots = Lot.objects.bulk_create(
        Lot(
            item=item, number=f"L{age}", created_at=now,
            expiry=today + timedelta(days=5 if age == 0 else 120 + 90 * age),
        )
        for item in items
        for age in range(5)
    )  # fmt: skip
    of_item = {item.pk: lots[n * 5 : n * 5 + 5] for n, item in enumerate(items)}
    shelves = Place.objects.bulk_create(
        Place(kind=PlaceKind.SHELF, room=room, name=f"S{n}", position=n)
        for room in rooms
        for n in range(20)
    )
    Holding.objects.bulk_create(
        Holding(lot=of_item[items[(n * 7 + k) % ITEMS].pk][4], place=shelf, units=200)
        for n, shelf in enumerate(shelves)
        for k in range(10)
    )
    entry = Entry.objects.create(
        kind=EntryKind.KIT, key="00000000-0000-4000-8000-000000000001", occurred_at=now,
        recorded_at=now,
    )  # fmt: skip
    for start in range(0, size, 1000):
        kits = Kit.objects.bulk_create(
            Kit(
                name=f"KIT-{n:05}", list_version=version, home_room=rooms[n % ROOMS],
                room=rooms[n % ROOMS], responsible=people[n // KITS_A_PERSON],
                deputy=people[(n // KITS_A_PERSON + 1) % len(people)] if len(people) > 1 else None,
                looked_inside_on=today - timedelta(days=n % 300), contents_entered=True,
            )
            for n in range(start, min(start + 1000, size))
        )  # fmt: skip
        sections = Place.objects.bulk_create(
            Place(kind=PlaceKind.SECTION, kit=kit, name="Main", section_key="main") for kit in kits
        )
        Holding.objects.bulk_create(
            (
                Holding(
                    lot=of_item[items[k].pk][0 if n % 5 == 0 and k == n % HOLDINGS else 1 + n % 4],
                    place=place,
                    units=4,
                )
                for n, place in enumerate(sections, start)
                for k in range(HOLDINGS)
            ),
            batch_size=5000,
        )
        trips = Trip.objects.bulk_create(
            Trip(
                source="bench", reference=f"{kit.pk}", name=f"Trip of {kit.name}",
                room_id=kit.home_room_id, departs_at=now + timedelta(days=2),
                returns_at=now + timedelta(days=8), first_day=today + timedelta(days=2),
                last_day=today + timedelta(days=8), people=8, created_at=now, changed_at=now,
            )
            for n, kit in enumerate(kits)
            if n % 10 == 0
        )  # fmt: skip
        Reservation.objects.bulk_create(
            Reservation(kit=kits[n * 10], trip=trip, made=entry) for n, trip in enumerate(trips)
        )
        readiness.rewrite([kit.pk for kit in kits])
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def measure() -> tuple[float, ...]:
    """Wall seconds, processor seconds, peak MB, queries a person, people, kits to open."""
    from django.db import connection, reset_queries

    from kits.models import Notice
    from kits.services.mail import composing, rendering, sending
    from kits.services.mail.digest import digest
    from kits.services.mail.digest.digest_rotation import DigestStock

    counted = [0]

    def count(execute: Any, *arguments: Any) -> Any:
        counted[0] += 1
        return execute(*arguments)

    reset_queries()
    started, cpu = time.perf_counter(), time.process_time()
    to_open = composed = 0
    stock = DigestStock()
    with connection.execute_wrapper(count):
        ids = digest.write(datetime.now(UTC), newcomers=True)
        for start in range(0, len(ids), sending.BATCH):
            rows = list(
                Notice.objects.filter(pk__in=ids[start : start + sending.BATCH]).select_related(
                    "person__home_room"
                )
            )
            for pk, written in composing.write(rows, stock=stock).items():
                person = next(n.person for n in rows if n.pk == pk)
                rendering.render(
                    written.letter, person=person, message_id="<bench@example.org>",
                    at=datetime.now(UTC), attachments=written.attachments,
                )  # fmt: skip
                to_open += sum(len(p.rows) for p in written.letter.parts[:1]) + len(
                    written.letter.first
                )
                composed += 1
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return (
        time.perf_counter() - started, time.process_time() - cpu, peak,
        counted[0] / max(composed, 1), composed, to_open,
    )  # fmt: skip


if __name__ == "__main__":
    main()
