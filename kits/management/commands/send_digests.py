"""`manage.py send_digests`: what the weekly schedule runs."""

from datetime import datetime
from typing import Any

from django.core.management.base import CommandError, CommandParser

from gearroom.core import clock
from gearroom.core.management.base import ProjectCommand
from kits.services.mail import sending


class Command(ProjectCommand):
    help = "Sends each responsible instructor the weekly email, once a week."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--at", help="as of this time, ISO 8601 with UTC offset; default: now")

    def handle(self, **options: Any) -> None:
        at = clock.now()
        if options["at"]:
            try:
                at = datetime.fromisoformat(options["at"])
            except ValueError as error:
                raise CommandError("--at must be like 2027-05-31T07:00:00+01:00.") from error
            if at.tzinfo is None:
                raise CommandError("--at needs a UTC offset, such as 2027-05-31T07:00:00+01:00.")
        sent = sending.send_weekly(at)
        self.stdout.write(f"{len(sent)} weekly emails sent.")
