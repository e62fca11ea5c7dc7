"""`manage.py read_image FILE…`: what is read from pictures, a JSON object a line."""

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from labels import reading


class Command(BaseCommand):
    help = "Read every code in the given pictures; print one line of JSON per file."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("files", nargs="+", metavar="FILE")

    def handle(self, *args: Any, **options: Any) -> None:
        for file in options["files"]:
            row: dict[str, Any] = {"file": file, "reads": [], "ms": 0.0}
            try:
                reads = reading.read(Path(file).read_bytes(), all_symbols=True)
            except (OSError, reading.PictureError, reading.ReaderBusy) as error:
                row["error"] = str(error)
            else:
                row["reads"] = [
                    {
                        "text": result.text,
                        "symbology": result.symbology,
                        "corners": [[round(x, 1), round(y, 1)] for x, y in result.corners],
                        "rung": result.rung,
                    }
                    for result in reads.reads
                ]
                row |= {"ms": round(reads.ms, 1), "rung": reads.rung, "stopped": reads.stopped}
            self.stdout.write(json.dumps(row))
