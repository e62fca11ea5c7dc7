"""What every test can ask for.

Every test that uses the database can run twice: on SQLite, and on a PostgreSQL that the session
starts by itself where Debian's package is installed. Which do so without `--long` or
`--engine postgresql` is said in tests/engines.py. `--engine sqlite` runs one of them only; a test
for certain engines says `@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)`.

The append-only tables refuse DELETE and TRUNCATE, so no test ever flushes. Choose:

    db             (or the mark django_db) the worker's own copy of a migrated database, in a
                   transaction that is rolled back
    own_database   the address of a fresh copy, for other processes
    open_database  that copy opened in this process: commits are real, threads see them
    server         `manage.py serve` over that copy, started (make_server: not yet, with settings)
    make_web       the pages and the API alone over open_database, in threads of this process
    need("redis-server")   skips with the reason where the Debian package is missing

With CI=true in the environment a skip is a failure. Long forms are marked `long` and run with
`--long`.
"""

import gc
import os
import subprocess
from collections.abc import Callable, Generator, Iterator
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from _pytest import runner

from tests import keeper
from tests.engines import ENGINES, Engine, between, engine_of, left_to_sqlite
from tests.packages import need
from tests.program import Server, environment
from tests.settings import FOLDER
from tests.web import Web

CI = os.environ.get("CI") == "true"
# CPython keeps frames in chunks of 16 KB, and gives a chunk back as soon as the first frame in it
# returns: a hot call just over the end of one costs two system calls each time, up to a third of a
# test's time by chance. A frame of half a megabyte gets a chunk with room for all that is called
# under it, so each phase of a test begins with one.
runner.call_and_report.__code__ = runner.call_and_report.__code__.replace(co_stacksize=70_000)
WEEKS = "tests/world/"
_KEEPER = pytest.StashKey[subprocess.Popen[bytes]]()


# ------------------------------------------------------------------------------------ the session
def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="run the long forms of stress tests too")
    parser.addoption("--engine", choices=ENGINES, help="run database tests on this engine only")
    parser.addoption(
        "--every", type=int, help="of each file of services only the first test and every so many"
    )


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    # No property fails for a slow machine; in CI the same examples each time.
    hypothesis.settings.register_profile(
        "gearroom",
        deadline=None,
        max_examples=100 if config.getoption("--long") else 40,
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
        or (chosen and engine_of(item) not in (None, chosen))
    ]
    if not (chosen or long):
        left_out += left_to_sqlite(items)
    _leave_out(left_out, config, items)
    if every := config.getoption("--every"):
        _leave_out(list(between(items, every)), config, items)
    yield
    _spread_what_is_long(items)


def _leave_out(
    left_out: list[pytest.Item], config: pytest.Config, items: list[pytest.Item]
) -> None:
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        without = set(left_out)
        items[:] = [item for item in items if item not in without]


def pytest_collection_finish() -> None:
    """What is there now stays: the collector of garbage need not go through it again and again."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)


def _spread_what_is_long(items: list[pytest.Item]) -> None:
    """Tests that wait for servers of their own, and weeks of the world, go evenly among the others,
    so that each worker gets its share of them and the cores have work all the time; those of a file
    stay together, for what they share. At the end come quick ones alone, so that no worker is left
    with a long one."""
    long = [i for i in items if i.get_closest_marker("server") or i.nodeid.startswith(WEEKS)]
    files = {file: n for n, file in enumerate(dict.fromkeys(item.path for item in long))}
    place = {item: 0.8 * files[item.path] / len(files) for item in long}
    others = [item for item in items if item not in place]
    place |= {item: number / len(others) for number, item in enumerate(others)}
    items.sort(key=place.__getitem__)


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
@pytest.fixture(scope="session", name="need")
def _need() -> Callable[[str], str]:
    return need


# --------------------------------------------------------------------------------------- databases
@pytest.fixture(scope="session")
def session_folder() -> Path:
    """The folder that all workers of this session share; it is deleted at the end."""
    return Path(os.environ[FOLDER])


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


@pytest.fixture
def make_web(open_database: str) -> Iterator[Callable[[], Web]]:
    """make_web(): pages and API over open_database in this process, to be started."""
    made: list[Web] = []

    def make() -> Web:
        made.append(Web())
        return made[-1]

    yield make
    for web in made:
        web.kill()
