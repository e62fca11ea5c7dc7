"""`manage.py audit`: derive everything again; exit 1 with the rows where it differs."""

from typing import Any

from django.core.management.base import CommandError

from gearroom.core.management.base import ProjectCommand
from kits.services.ledger import audit


class Command(ProjectCommand):
    help = "Checks holdings, readiness, seals, checkouts and reservations against the entries."

    def handle(self, *args: Any, **options: Any) -> None:
        count = 0
        for finding in audit.findings():
            count += 1
            self.stdout.write(f"{finding.about}: {finding.text}")
        if count:
            raise CommandError(f"{count} differences between the entries and the stored data.")
        self.stdout.write("Everything matches the entries.")
