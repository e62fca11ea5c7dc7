"""How long a kit's plan takes the server: `python -m tests.bench.plan [--more N] [--url URL]`.

The demonstration's school, whose past is played as often again as told (twice unless told: four
and a half years of trips), on SQLite in a folder of its own unless a database is given. Prints, for
the page of what a kit's list comes to, the page of what it costs and the call of the API, the
median and the slowest in twenty of many requests through all of Django, in milliseconds on the
clock and of the processor; and how many times as long that is as the same framework takes for one
that needs no database.
"""

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
from datetime import timedelta
from pathlib import Path

MOST_MS = 300
"""What each may take of a processor (the median): the plan is read in a talk about a list."""
A_PAST_DAYS = 540
NOTHING = "/app.webmanifest"


def main() -> None:
    """Make the school in a process of its own, then measure in another: exits 1 where too slow."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--more", type=int, default=2, help="how often the past is played again")
    parser.add_argument("--url", help="an empty database; SQLite in a new folder unless given")
    parser.add_argument("--asked", type=int, default=40, help="how many requests of each")
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
        code = f"from tests.bench import plan; sys.exit(plan.run({options.more}, {options.asked}))"
        sys.exit(subprocess.run([sys.executable, "-c", f"import sys; {code}"], env=env).returncode)


def run(more: int, asked: int) -> int:
    """Make, measure and print; 1 where a median is over MOST_MS."""
    import django

    django.setup()
    from gearroom.core import clock

    make(more)
    with clock.pretending(clock.now() + timedelta(days=A_PAST_DAYS * more)):
        return measure(asked)


def make(more: int) -> None:
    """The school, unless it is there, and its past played on, each time after the last."""
    from gearroom.core import clock
    from gearroom.site.scenario import load, season
    from gearroom.site.scenario.school import at
    from kits.models import PackingListVersion

    school = load.load()
    if more == 0:
        return
    assert school is not None, "a past is played on in an empty database alone"
    today = clock.today("UTC")
    far = today + timedelta(days=A_PAST_DAYS * (more + 1))
    PackingListVersion.objects.filter(signed_until__isnull=False).update(signed_until=far)
    for n in range(1, more + 1):
        then = today + timedelta(days=A_PAST_DAYS * n)
        for nth, going in enumerate(list(season._past(school.chance))):
            if nth % 8 == 0:
                with clock.pretending(at(then + timedelta(days=going.starts_in - 1), 7)):
                    season._tend_stock(school)
            season._play(school, going, then)


def measure(asked: int) -> int:
    """Print what each takes; 1 where one is too slow."""
    from gearroom.core.models import User
    from kits.models import Checkout, Kit, Trip
    from tests.bench.board import ask

    kit = Checkout.objects.filter(trip__isnull=False).latest("id").kit
    who = User.objects.get(username="jo")
    trips, kits = Trip.objects.count(), Kit.objects.count()
    print(f"{trips} trips, {kits} kits, {kit.name}:")
    nothing = statistics.median(ask(who, NOTHING, asked)[1])
    slow = False
    for name, path in (
        ("its plan, the page", f"/kits/{kit.name}/plan/"),
        ("its costs, the page", f"/kits/{kit.name}/costs/"),
        ("its plan, the API", f"/api/v1/plans/kits/{kit.name}/"),
    ):
        times, worked, queries, weight = ask(who, path, asked)
        middle, late = statistics.median(times), statistics.quantiles(times, n=20)[-1]
        work = statistics.median(worked)
        slow |= work > MOST_MS
        print(
            f"{name}: {middle:.0f} ms (one in twenty over {late:.0f} ms), {work:.0f} ms of the"
            f" processor, {work / nothing:.0f} × one that needs no database ({nothing:.1f} ms),"
            f" {queries} queries, {weight / 1024:.0f} KiB"
        )
    return int(slow)


if __name__ == "__main__":
    main()
