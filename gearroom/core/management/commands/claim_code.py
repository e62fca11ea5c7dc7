"""`manage.py claim_code`: the code by which the first person makes a new installation theirs, where
it was not started by `serve`, which prints it too."""

from typing import Any

from django.core.management.base import CommandError

from gearroom.core.management.base import ProjectCommand
from gearroom.core.services.installation import claiming


class Command(ProjectCommand):
    """Prints the code alone."""

    help = "Print the code that the page /begin/ of a new installation asks for."

    def handle(self, *args: Any, **options: Any) -> None:
        """Print it, while nobody has a login."""
        if not claiming.is_open():
            raise CommandError("Somebody has a login already: there is nothing to claim.")
        self.stdout.write(claiming.code())
