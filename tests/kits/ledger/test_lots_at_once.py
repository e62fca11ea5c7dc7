"""Two acts that make the same batch at the same time make one."""

import threading
from datetime import date

from django.db import connections, transaction

from kits.services.ledger import lots
from tests.kits import factories as make


def test_two_acts_at_once_make_one_batch(open_database: str) -> None:
    item = make.item("Gauze")
    found, gate = [], threading.Barrier(8)

    def look() -> None:
        gate.wait()
        with transaction.atomic():
            found.append(lots.known(item=item, number="G1", expiry=date(2030, 1, 31)).pk)
        connections.close_all()

    threads = [threading.Thread(target=look) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 8
    assert len(set(found)) == 1
