"""A recall that starts while its batch arrives and is put into kits misses none of it."""

import threading
from collections.abc import Callable
from datetime import date

from django.db import connections

from gearroom.core.acts import Refused
from kits.models import Holding, Lot, PlaceKind, Recall
from kits.rules.ledger.facts import Criticality
from kits.services.ledger import audit, verdicts
from kits.services.recalls import recalls, status
from kits.services.stock import receiving
from tests.kits import factories as make


def at_once(*acts: Callable[[], object]) -> list[BaseException]:
    """Do these acts at the same time, each in a thread; returns what went wrong in any."""
    wrong: list[BaseException] = []
    gate = threading.Barrier(len(acts))

    def run(act: Callable[[], object]) -> None:
        gate.wait()
        try:
            act()
        except Refused as refused:
            if refused.code != "recalled":
                wrong.append(refused)
        except BaseException as error:
            wrong.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=[act]) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return wrong


def test_no_unit_of_it_stays_on_a_shelf_and_no_kit_with_one_may_go(open_database: str) -> None:
    store = make.room("Main store")
    shelf = make.shelf(store, "C2")
    dressing = make.item("Dressing", sterile=True)
    adviser = make.person("Ada")
    lines = {"main": [(dressing, 4, 2, Criticality.MUST_HAVE)]}
    version = make.kit_list("Day walk", lines, signed_by=adviser)
    known = make.some(dressing, shelf, 50, "BAD", date(2040, 1, 31))
    kits = [make.kit(f"DAY-{n:02}", version, store) for n in range(4)]

    def arrives(day: int) -> Callable[[], object]:
        return lambda: receiving.receive(
            make.act(), item=dressing, shelf=shelf, units=2, number="BAD",
            expiry=date(2040, 2, day),
        )  # fmt: skip

    wrong = at_once(
        *(arrives(day) for day in range(1, 5)),
        *(arrives(1) for _ in range(2)),
        *(lambda kit=kit: make.put_in(kit, known, shelf, 4) for kit in kits),
        lambda: recalls.start(make.act(), item=dressing, scope="number", number="BAD"),
    )
    assert wrong == []
    assert not Lot.objects.filter(number="BAD", recall__isnull=True).exists()
    assert not Holding.objects.filter(place__kind=PlaceKind.SHELF, units__gt=0).exists()
    stands = status.of(Recall.objects.get())
    holders = {
        h.place_id for h in Holding.objects.filter(place__kind=PlaceKind.SECTION, units__gt=0)
    }
    assert holders == {p.place.pk for p in stands.places if p.booked}
    for kit in kits:
        assert not verdicts.verdict(make.fresh(kit), make.today()).may_go
    assert list(audit.findings()) == []
