"""What every test can ask for.

Every test that uses the database runs twice: on SQLite, and on a PostgreSQL that the session
starts by itself where Debian's package is installed; `ONCE` on PostgreSQL only with `--long` or
`--engine postgresql`. `--engine sqlite` runs one of them only; a test for certain engines says
`@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)`.

The append-only tables refuse DELETE and TRUNCATE, so no test ever flushes. Choose:

    db             (or the mark django_db) the worker's own copy of a migrated database, in a
                   transaction that is rolled back
    own_database   the address of a fresh copy, for other processes
    open_database  that copy opened in this process: commits are real, threads see them
    server         `manage.py serve` over that copy, started (make_server: not yet, with settings)
    need("redis-server")   skips with the reason where the Debian package is missing

With CI=true in the environment a skip is a failure. Long forms are marked `long` and run with
`--long`.
"""

import ctypes.util
import gc
import os
import shutil
import subprocess
from collections.abc import Callable, Generator, Iterator
from itertools import count
from pathlib import Path
from typing import Any

import hypothesis
import pytest

from tests import keeper
from tests.program import Server, environment
from tests.settings import FOLDER

ENGINES = ("sqlite", "postgresql")
# What answers and texts are made of: every service that they call runs on both.
ONCE = (
    "tests/attacks/requests/test_lost_updates.py",
    "tests/attacks/visibility",
    "tests/core/api/test_answers.py",
    "tests/core/api/test_schema.py",
    "tests/core/api/test_views.py",
    "tests/e2e/test_mail.py::test_a_450",
    "tests/e2e/test_mail.py::test_a_550",
    "tests/e2e/test_mail.py::test_dropped_after_its_data",
    "tests/e2e/test_mail.py::test_it_arrives_with_the_headers",
    "tests/kits/ledger/test_undo_replayed.py",
    "tests/kits/mail/test_digest_verdicts.py",
    "tests/kits/notices/test_one_cause.py",
    "tests/kits/planning/test_back_tests.py",
    "tests/kits/planning/test_carrying.py",
    "tests/kits/planning/test_counted_by_hand.py",
    "tests/kits/planning/test_drafting.py",
    "tests/kits/planning/test_fit.py",
    "tests/kits/planning/test_past_use.py",
    "tests/kits/planning/test_plans_api.py",
    "tests/kits/planning/test_replays.py",
    "tests/kits/planning/test_season_page.py",
    "tests/kits/stock/test_answers_conform.py",
    "tests/kits/test_answers_conform.py",
    "tests/labels/scan",
    "tests/site/accounts",
    "tests/site/page/test_languages.py",
    "tests/site/scan",
)
CI = os.environ.get("CI") == "true"
_KEEPER = pytest.StashKey[subprocess.Popen[bytes]]()
_numbers = count(1)


# ------------------------------------------------------------------------------------ the session
def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="run the long forms of stress tests too")
    parser.addoption("--engine", choices=ENGINES, help="run database tests on this engine only")


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    # No property fails for a slow machine; in CI the same examples each time.
    hypothesis.settings.register_profile(
        "gearroom",
        deadline=None,
        derandomize=CI,
        suppress_health_check=[hypothesis.HealthCheck.too_slow],
    )
    # For the fast lane, by --hypothesis-profile.
    hypothesis.settings.register_profile(
        "quick", hypothesis.settings.get_profile("gearroom"), max_examples=20, derandomize=True
    )
    hypothesis.settings.load_profile("gearroom")
    if not hasattr(config, "workerinput"):
        config.stash[_KEEPER] = keeper.start(Path(os.environ[FOLDER]))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """What `-n auto` means: two workers a core, since most of the long tests wait for servers."""
    return 2 * (os.cpu_count() or 1)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup() -> None:
    from django.utils import translation

    from gearroom.core.models import installation
    from tests import day  # Django is configured by now

    day.begin()
    installation.remember(installation.Installation())
    translation.deactivate()  # a page of the test before may have been in its reader's language


def pytest_unconfigure(config: pytest.Config) -> None:
    if _KEEPER in config.stash:
        keeper.stop(config.stash[_KEEPER])


@pytest.hookimpl(wrapper=True)
def pytest_collection_modifyitems(
    config: pytest.Config, items: list[pytest.Item]
) -> Iterator[None]:
    """Leave out the long forms unless asked, and tests of an engine that was not chosen."""
    chosen, long = config.getoption("--engine"), config.getoption("--long")
    left_out = [
        item
        for item in items
        if (item.get_closest_marker("long") and not long)
        or (chosen and _engine_of(item) not in (None, chosen))
        or not (chosen or long or _is_needed_on_its_engine(item))
    ]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in set(left_out)]
    yield
    _spread_what_waits(items)


def pytest_collection_finish() -> None:
    """What is there now stays: the collector of garbage need not go through it again and again."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)


def _spread_what_waits(items: list[pytest.Item]) -> None:
    """Tests that wait for servers of their own go evenly among the others, so that each worker gets
    its share of them and the cores have work all the time; at the end come quick ones alone, so
    that no worker is left with a long one."""
    waiting = [item for item in items if item.get_closest_marker("server")]
    others = [item for item in items if not item.get_closest_marker("server")]
    place = {item: 0.8 * number / len(waiting) for number, item in enumerate(waiting)}
    place |= {item: number / len(others) for number, item in enumerate(others)}
    items.sort(key=place.__getitem__)


def _engine_of(item: pytest.Item) -> str | None:
    call = getattr(item, "callspec", None)
    return call.params.get("engine") if call else None


def _is_needed_on_its_engine(item: pytest.Item) -> bool:
    if _engine_of(item) != "postgresql" or not item.nodeid.startswith(ONCE):
        return True
    return any("engine" in mark.args[0] for mark in item.iter_markers("parametrize"))


@pytest.hookimpl(tryfirst=True)
def pytest_pycollect_makeitem(collector: pytest.Collector, name: str, obj: object) -> None:
    """A test marked django_db has its engine as a parameter, as one that asks for `db` has."""
    if isinstance(collector, pytest.Module | pytest.Class) and collector.istestfunction(obj, name):
        marks = [*getattr(obj, "pytestmark", []), *collector.iter_markers()]
        if any(mark.name == "django_db" for mark in marks):
            pytest.mark.usefixtures("engine")(obj)


def _forbid_skip(report: pytest.TestReport | pytest.CollectReport) -> None:
    if CI and report.outcome == "skipped" and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skips are forbidden in CI: {report.longrepr}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: Any
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    _forbid_skip(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(
    collector: pytest.Collector,
) -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    report = yield
    _forbid_skip(report)
    return report


# ------------------------------------------------------------------------- what must be installed
def _installed(package: str) -> str | None:
    """Where a Debian package's program or library, or an npm package, is here, or None."""
    match package:
        case "axe-core" | "barcode-detector":
            folder = keeper.PROJECT / "node_modules" / package
            return str(folder) if folder.exists() else None
        case "postgresql":
            programs = keeper.postgresql_programs()
            return str(programs) if programs else None
        case "redis-server":
            return shutil.which("redis-server")
        case "chromium":
            names = ("chromium", "chromium-browser", "google-chrome")
            return next(filter(None, map(shutil.which, names)), None)
        case "libzbar0":
            return ctypes.util.find_library("zbar")
    raise ValueError(f"{package!r} is no package that tests may need")


def need(package: str) -> str:
    """Where its program or library is; skips (in CI: fails) where the package is missing."""
    place = _installed(package)
    if place is None and package in ("axe-core", "barcode-detector"):
        pytest.skip(f"needs npm's {package}: npm ci")
    if place is None:
        pytest.skip(f"needs Debian's {package}: apt-get install {package}")
    return place


@pytest.fixture(scope="session", name="need")
def _need() -> Callable[[str], str]:
    return need


# --------------------------------------------------------------------------------------- databases
@pytest.fixture(scope="session")
def session_folder() -> Path:
    """The folder that all workers of this session share; it is deleted at the end."""
    return Path(os.environ[FOLDER])


class Engine:
    """One kind of database: copies of the migrated template, and which one is open here."""

    def __init__(self, name: str, folder: Path) -> None:
        self.name = name
        self.folder = folder
        self.home: str | None = None

    def copy(self) -> str:
        """The address of a fresh copy of the migrated, empty database."""
        template = keeper.ask(self.folder, want="template", engine=self.name)["name"]
        name = f"copy_{os.getpid()}_{next(_numbers)}"
        if self.name == "sqlite":
            file = self.folder / f"{name}.sqlite3"
            shutil.copyfile(template, file)
            return f"sqlite:///{file}"
        self._administer(f"CREATE DATABASE {name} TEMPLATE {template}")
        return self._server().rsplit("/", 1)[0] + f"/{name}"

    def drop(self, url: str) -> None:
        if self.name == "sqlite":
            for file in self.folder.glob(url.rsplit("/", 1)[1] + "*"):
                file.unlink()
        else:
            self._administer(f"DROP DATABASE {url.rsplit('/', 1)[1]} WITH (FORCE)")

    def open(self, url: str) -> None:
        """Let Django's default database be this one, in every thread that has not opened it."""
        from asgiref.local import Local
        from django.conf import settings
        from django.db import connections

        from gearroom.core.setup.database import configuration

        connections.close_all()
        settings.DATABASES = {"default": configuration(url)}
        connections.settings = connections.configure_settings(settings.DATABASES)
        # All of them: a browser's event loop keeps connections apart from those of its thread.
        connections._connections = Local(  # type: ignore[attr-defined]  # not in its types
            connections.thread_critical
        )

    def open_home(self) -> None:
        """Open this worker's own copy, where transactions are rolled back."""
        self.home = self.home or self.copy()
        self.open(self.home)

    def _server(self) -> str:
        return str(keeper.ask(self.folder, want="postgresql")["url"])

    def _administer(self, statement: str) -> None:
        import psycopg

        with psycopg.connect(self._server(), autocommit=True) as admin:
            admin.execute(statement)


@pytest.fixture(scope="session")
def _engines(session_folder: Path) -> dict[str, Engine]:
    return {name: Engine(name, session_folder) for name in ENGINES}


@pytest.fixture(scope="session", params=ENGINES)
def engine(request: pytest.FixtureRequest, _engines: dict[str, Engine]) -> str:
    """The kind of database that this test runs on: "sqlite" or "postgresql"."""
    if request.param == "postgresql":
        need("postgresql")
    name: str = request.param
    _engines[name].open_home()
    return name


@pytest.fixture(scope="session")
def django_db_setup(django_test_environment: None) -> None:
    """Nothing is created here: `engine` has opened this worker's copy."""


@pytest.fixture
def make_database(engine: str, _engines: dict[str, Engine]) -> Iterator[Callable[[], str]]:
    """make_database() is the address of one more database of this test's own."""
    made: list[str] = []

    def make() -> str:
        made.append(_engines[engine].copy())
        return made[-1]

    yield make
    for url in made:
        _engines[engine].drop(url)


@pytest.fixture
def own_database(make_database: Callable[[], str]) -> str:
    """The address (for DATABASE_URL) of a database of this test's own."""
    return make_database()


@pytest.fixture
def use_database(
    engine: str,
    _engines: dict[str, Engine],
    django_db_blocker: Any,
    request: pytest.FixtureRequest,
) -> Iterator[Callable[[str], None]]:
    """use_database(url) opens a database of this test's own in this process; commits are real."""
    assert "db" not in request.fixturenames, "take either db or a database of the test's own"
    with django_db_blocker.unblock():
        yield _engines[engine].open
    _engines[engine].open_home()


@pytest.fixture
def open_database(own_database: str, use_database: Callable[[str], None]) -> str:
    """own_database opened in this process; threads of the test close their own connections."""
    use_database(own_database)
    return own_database


# ----------------------------------------------------------------------------------------- servers
@pytest.fixture
def redis_url(need: Callable[[str], str], session_folder: Path) -> str:
    """An empty database of a real Redis."""
    need("redis-server")
    return str(keeper.ask(session_folder, want="redis")["url"])


@pytest.fixture
def make_server(
    own_database: str, engine: str, session_folder: Path, tmp_path: Path
) -> Iterator[Callable[..., Server]]:
    """make_server(NAME=value…): a server over own_database, to be started; always cleaned up.

    On SQLite its broker is the file system, on PostgreSQL a real Redis. Several servers made by
    one test share the database and each have a data folder of their own.
    """
    made: list[Server] = []

    def make(**settings: str) -> Server:
        folder = tmp_path / f"data-{len(made)}"
        folder.mkdir()
        if engine == "postgresql":
            need("redis-server")
            redis = keeper.ask(session_folder, want="redis")["url"]
            settings = {"CELERY_BROKER_URL": redis, **settings}
        env = environment(folder, DATABASE_URL=own_database, **settings)
        made.append(Server(session_folder, folder, env))
        return made[-1]

    yield make
    for server in made:
        server.close()


@pytest.fixture
def server(make_server: Callable[..., Server]) -> Server:
    """`manage.py serve` over own_database, answering at `server.url`."""
    return make_server().start()
