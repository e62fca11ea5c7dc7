"""Notices through a real Celery worker to a real mail server, whatever happens on the way.

On SQLite the worker's broker is the folder, on PostgreSQL a real Redis.
"""

import random
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from django.db import connections
from django.utils import timezone

from gearroom.core.models import Person, Room
from gearroom.core.rules.roles import Role
from kits.models import Notice, NotificationPreferences
from kits.services.notices import writing
from tests.e2e.postroom import MailServer, Worker
from tests.kits import factories
from tests.present import present
from tests.program import environment
from tests.waiting import until

pytestmark = pytest.mark.server


@pytest.fixture
def mail() -> Iterator[MailServer]:
    server = MailServer().start()
    yield server
    server.stop()


@pytest.fixture
def make_worker(
    open_database: str,
    engine: str,
    mail: MailServer,
    session_folder: Path,
    tmp_path: Path,
    need: Callable[[str], str],
) -> Iterator[Callable[..., Any]]:
    made = []

    def make(**settings: Any) -> Worker:
        if engine == "postgresql":
            from tests import keeper

            need("redis-server")
            settings.setdefault(
                "CELERY_BROKER_URL", keeper.ask(session_folder, want="redis")["url"]
            )
        env = environment(
            tmp_path, DATABASE_URL=open_database, EMAIL_URL=mail.url,
            GEARROOM_MAIL_TIMEOUT="3", GEARROOM_PUBLIC_URL="https://gear.example.org", **settings,
        )  # fmt: skip
        made.append(Worker(session_folder, env))
        return made[-1]

    yield make
    for worker in made:
        worker.kill()


@pytest.fixture
def store(open_database: str) -> Room:
    return factories.room()


def reader(name: str, at: Room, role: Role | None = None) -> Person:
    who = factories.person(name, role, at)
    Person.objects.filter(pk=who.pk).update(email=f"{name.lower()}@example.org")
    return Person.objects.get(pk=who.pk)


def tell(people: list[Any] | list[Person], number: int = 1, room: Any = None) -> None:
    """Notices of as many kinds, so that each is a mail of its own."""
    for n in range(number):
        writing.notify(people, f"something-odd-{n}", f"fact:{n}", room=room)
    connections.close_all()


def time_passes() -> None:
    """Every wait and every lease of a process that is gone is over."""
    Notice.objects.filter(sent_at=None).update(due_at=timezone.now(), lease_until=None)
    connections.close_all()


def sent() -> int:
    found = Notice.objects.filter(sent_at__isnull=False).count()
    connections.close_all()
    return found


def tried(person: Person, times: Any) -> bool:
    found = Notice.objects.filter(person=person, tries=times, lease=None).exists()
    connections.close_all()
    return found


def test_it_arrives_with_the_headers_that_a_program_sends(
    make_worker: Callable[..., Any], mail: MailServer, store: Room
) -> None:
    jo = reader("Jöran Ågren", store)
    Person.objects.filter(pk=jo.pk).update(email="jo@example.org")
    tell([jo])
    worker = make_worker().start()

    worker.ask("send")
    until(sent, "the notice is sent")

    (letter,) = mail.to("jo@example.org")
    row = Notice.objects.get()
    message = letter.message
    assert letter.message_id == row.message_id
    assert bytes(present(row.rendered)) == letter.content
    assert message["To"].addresses[0].display_name == "Jöran Ågren"
    assert message["Auto-Submitted"] == "auto-generated"
    assert message["List-Unsubscribe"] == "<https://gear.example.org/notices/settings/>"
    assert abs(message["Date"].datetime - row.sent_at) < timedelta(minutes=2)
    assert {part.get_content_type() for part in message.iter_parts()} == {
        "text/plain", "text/html"
    }  # fmt: skip


def test_while_the_server_is_down_it_waits_and_then_arrives_once(
    make_worker: Callable[..., Any], mail: MailServer, store: Room
) -> None:
    jo = reader("Jo", store)
    tell([jo])
    mail.stop()
    worker = make_worker().start()
    for times in (1, 2, 3):
        worker.ask("send")
        until(partial(tried, jo, times), f"try {times}")
        assert Notice.objects.get().due_at > timezone.now() + timedelta(seconds=30)
        assert "refused" in Notice.objects.get().last_error.lower()
        time_passes()
    mail.start()

    worker.ask("send")
    until(sent, "the notice is sent")

    assert len(mail.accepted) == 1
    assert Notice.objects.get().tries == 4


def test_a_450_is_tried_again_and_then_taken(
    make_worker: Callable[..., Any], mail: MailServer, store: Room
) -> None:
    jo = reader("Jo", store)
    tell([jo])
    answers = iter(["450 4.2.0 come back later"])
    mail.rcpt = lambda _: next(answers, None)
    worker = make_worker().start()
    worker.ask("send")
    until(lambda: tried(jo, 1), "the first try")
    assert Notice.objects.get().last_error == "450 4.2.0 come back later"
    time_passes()

    worker.ask("send")
    until(sent, "the notice is sent")

    assert len(mail.accepted) == 1


def test_a_550_for_one_of_three_keeps_nobody_else_waiting_and_is_told_to_the_keeper(
    make_worker: Callable[..., Any], mail: MailServer, store: Room
) -> None:
    jo, sam, wyn = (reader(name, store) for name in ("Jo", "Sam", "Wyn"))
    kim = reader("Kim", store, Role.KEEPER)
    mail.rcpt = lambda to: "550 5.1.1 no such user" if to == "sam@example.org" else None
    tell([sam, jo, wyn])
    worker = make_worker().start()

    worker.ask("send")
    until(lambda: sent() == 3, "the two others and the keeper are told")

    refused = Notice.objects.get(person=sam)
    assert refused.unsent_why == "refused"
    assert refused.last_error == "550 5.1.1 no such user"
    preferences = NotificationPreferences.objects.get(person=sam)
    assert preferences.refused_address == "sam@example.org"
    assert {letter.recipient for letter in mail.accepted} == {
        "jo@example.org", "wyn@example.org", "kim@example.org"
    }  # fmt: skip
    assert Notice.objects.get(person=kim).kind == "address-refused"


def test_dropped_after_its_data_it_is_sent_again_byte_for_byte(
    make_worker: Callable[..., Any], mail: MailServer, store: Room
) -> None:
    jo = reader("Jo", store)
    tell([jo])
    dropped = iter([True])
    mail.drop = lambda _: next(dropped, False)
    worker = make_worker().start()
    worker.ask("send")
    until(lambda: tried(jo, 1), "the first try")
    time_passes()

    worker.ask("send")
    until(sent, "the notice is sent")

    first, second = mail.accepted
    assert first.content == second.content
    assert first.message_id == second.message_id == Notice.objects.get().message_id


def test_when_the_broker_forgets_everything_the_next_sweep_finds_every_notice(
    make_worker: Callable[..., Any], mail: MailServer, store: Room, engine: str
) -> None:
    people = [reader(f"P{n}", store) for n in range(20)]
    tell(people)
    worker = make_worker()
    for _ in range(5):
        worker.ask("send")
    with worker.app.connection_or_acquire() as connection:
        assert worker.app.amqp.queues["celery"](connection.default_channel).purge() == 5
    worker.start()

    worker.ask("send")
    until(lambda: sent() == 20, "all are sent")

    assert Counter(letter.recipient for letter in mail.accepted) == Counter(
        person.email for person in people
    )


def test_two_schedulers_and_two_workers_write_and_send_each_weekly_email_once(
    make_worker: Callable[..., Any], mail: MailServer, store: Room
) -> None:
    people = [reader(f"P{n}", store, Role.KEEPER) for n in range(12)]
    Person.objects.update(created_at=timezone.now() - timedelta(days=30))
    connections.close_all()
    workers = [make_worker(), make_worker()]
    for worker in workers:
        for task in ("look", "look", "send", "send"):
            worker.ask(task)
        worker.start()
    until(lambda: written() == 12, "all are written")
    for worker in workers:
        worker.ask("send")

    until(lambda: sent() == 12, "all are sent")

    assert Counter(letter.recipient for letter in mail.accepted) == Counter(
        person.email for person in people
    )


def written() -> int:
    found = Notice.objects.filter(kind="weekly").count()
    connections.close_all()
    return found


def _hit_or_all(hit: threading.Event, number: int) -> bool:
    return hit.is_set() or sent() == number


def kill_and_go_on(
    make_worker: Any, mail: MailServer, store: Room, kills: int, number: int, seed: int
) -> Counter[Any]:
    """Kill workers at random moments over so many notices; what the kills left unrecorded."""
    jo = reader("Jo", store)
    tell([jo], number)
    chance = random.Random(seed)
    unrecorded: Counter[Any] = Counter()
    for _ in range(kills):
        worker = make_worker().start()
        worker.ask("send")
        worker.ask("send")
        hit = threading.Event()
        goal = len(mail.accepted) + chance.randint(1, max(2, number // (kills + 2)))
        in_the_act = chance.random() < 0.5

        def at_acceptance(
            goal: int = goal,
            worker: Any = worker,
            hit: threading.Event = hit,
            in_the_act: bool = in_the_act,
        ) -> None:
            if len(mail.accepted) >= goal and not hit.is_set():
                hit.set()
                if in_the_act:  # taken by the server, and nobody will be told
                    worker.kill()

        mail.on_accept = at_acceptance
        until(partial(_hit_or_all, hit, number), "a moment to kill at")
        threading.Event().wait(chance.random() * 0.2)
        worker.kill()
        mail.on_accept = lambda: None
        known = set(
            Notice.objects.filter(sent_at__isnull=False).values_list("message_id", flat=True)
        )
        for message_id, times in Counter(x.message_id for x in mail.accepted).items():
            if message_id not in known:
                unrecorded[message_id] = times
        time_passes()  # the leases of the dead worker run out
    last = make_worker().start()
    last.ask("send")
    until(lambda: sent() == number, "all are sent")
    return unrecorded


def assert_nothing_lost_and_nothing_doubled_without_a_crash(
    mail: MailServer, unrecorded: Any, number: int
) -> None:
    rows = dict(Notice.objects.values_list("message_id", "sent_at"))
    taken = Counter(letter.message_id for letter in mail.accepted)
    assert len(rows) == number
    assert set(taken) == set(rows)
    for message_id, times in taken.items():
        assert times - 1 <= unrecorded[message_id]
        assert len({x.content for x in mail.accepted if x.message_id == message_id}) == 1


def test_killed_at_four_random_moments_over_eighty_notices_none_is_lost(
    make_worker: Callable[..., Any], mail: MailServer, store: Room
) -> None:
    unrecorded = kill_and_go_on(make_worker, mail, store, kills=4, number=80, seed=11)

    assert_nothing_lost_and_nothing_doubled_without_a_crash(mail, unrecorded, 80)


@pytest.mark.long
def test_killed_at_a_hundred_random_moments_none_is_lost(
    make_worker: Callable[..., Any], mail: MailServer, store: Room
) -> None:
    unrecorded = kill_and_go_on(make_worker, mail, store, kills=100, number=200, seed=13)

    assert_nothing_lost_and_nothing_doubled_without_a_crash(mail, unrecorded, 200)
