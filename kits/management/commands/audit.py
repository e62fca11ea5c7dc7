"""`manage.py audit`: derive everything again; exit 1 with the rows where it differs."""

from itertools import chain
from typing import Any

from django.core.management.base import CommandError

from gearroom.core.management.base import ProjectCommand
from kits.services.ledger import audit
from kits.services.orders import order_audit


class Command(ProjectCommand):
    help = (
        "Checks holdings, readiness, seals, checkouts, reservations and orders against the entries."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        count = 0
        for finding in chain(audit.findings(), order_audit.findings()):
            count += 1
            self.stdout.write(f"{finding.about}: {finding.text}")
        if count:
            raise CommandError(f"{count} differences between the entries and the stored data.")
        self.stdout.write("Everything matches the entries.")
