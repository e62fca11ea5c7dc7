"""`manage.py restore FILE`: what `backup` wrote, put back."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from gearroom.core.management.base import ProjectCommand
from gearroom.site.ops import backup, serving


class Command(ProjectCommand):
    help = "Restores a backup: the database and the data folder. Stop the server first."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="a file made by manage.py backup")
        parser.add_argument(
            "--force", action="store_true", help="replace a database that is not empty"
        )

    def handle(self, **options: Any) -> None:
        try:
            manifest = backup.restore(options["file"].absolute(), force=options["force"])
        except backup.BackupError as problem:
            raise CommandError(str(problem)) from problem
        serving.migrate_if_behind(self.stdout.write)
        self.stdout.write(
            f"Restored what was saved at {manifest.made_at}. Run manage.py audit, then serve."
        )
