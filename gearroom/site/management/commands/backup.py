"""`manage.py backup FILE`: everything in one file, while the server runs."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from gearroom.core import clock
from gearroom.core.management.base import ProjectCommand
from gearroom.site.ops import backup


class Command(ProjectCommand):
    help = "Saves the database and the data folder in one file, while the server is running."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="for example gearroom-2026-03-01.tar.gz")

    def handle(self, **options: Any) -> None:
        file: Path = options["file"].absolute()
        try:
            manifest = backup.make(file, now=clock.now())
        except backup.BackupError as problem:
            raise CommandError(str(problem)) from problem
        self.stdout.write(
            f"{file}: {len(manifest.parts)} parts, {file.stat().st_size / 1024**2:.1f} MB. "
            "It contains personal names and keys: keep it as safe as the server."
        )
