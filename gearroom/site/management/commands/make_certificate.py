"""`manage.py make_certificate`: a new certificate of one's own for `serve --lan`."""

import re
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError, CommandParser

from gearroom.core import clock
from gearroom.core.management.base import ProjectCommand
from gearroom.site.ops import certificate

NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9.:-]{0,251}[A-Za-z0-9])?|::1")


class Command(ProjectCommand):
    help = "Creates a TLS certificate for this machine's names and addresses, for serve --lan."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--name",
            action="append",
            default=[],
            metavar="NAME",
            help="another host name or address that phones will use (may be repeated)",
        )

    def handle(self, **options: Any) -> None:
        for name in options["name"]:
            if not NAME.fullmatch(name):
                raise CommandError(f"{name!r} is neither a host name nor an address.")
        names = list(dict.fromkeys([*options["name"], *certificate.local_names()]))
        files = certificate.write(settings.DATA_DIR / "tls", names, now=clock.now())
        until = certificate.valid_until(files.chain)
        self.stdout.write(f"certificate  {files.chain}")
        self.stdout.write(f"for          {', '.join(names)}")
        self.stdout.write(f"valid until  {until:%Y-%m-%d}")
        self.stdout.write(f"for phones   {files.root} (trust it there, and no warning is shown)")
        self.stdout.write("A server that is running will use it after a restart.")
