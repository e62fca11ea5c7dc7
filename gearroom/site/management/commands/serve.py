"""`manage.py serve`: the whole service on one machine, until Ctrl-C or SIGTERM."""

import sys
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError, CommandParser

from gearroom.core import clock
from gearroom.core.acts import refuse_first
from gearroom.core.management.base import ProjectCommand
from gearroom.core.models.installation import current
from gearroom.core.services.installation import claiming
from gearroom.site.ops import certificate, serving


class Command(ProjectCommand):
    help = "Runs the web server, worker and scheduler on this machine until Ctrl-C or SIGTERM."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="TCP port; 0 picks a free one")
        parser.add_argument(
            "--lan", action="store_true", help="serve the local network too, with TLS"
        )
        parser.add_argument("--certfile", type=Path, help="certificate chain (PEM), with --lan")
        parser.add_argument("--keyfile", type=Path, help="its private key (PEM), with --lan")

    def handle(self, **options: Any) -> None:
        chain, key = options["certfile"], options["keyfile"]
        refuse_first(
            (not 0 <= options["port"] <= 65535, CommandError("--port must be from 0 to 65535.")),
            (
                bool(chain or key) and not options["lan"],
                CommandError("--certfile and --keyfile need --lan."),
            ),
            (
                bool(chain) != bool(key),
                CommandError("Give both --certfile and --keyfile, or neither."),
            ),
        )
        files, names = None, ["127.0.0.1"]
        if options["lan"]:
            files = self._certificate(chain, key)
            own, reachable = certificate.names_of(files.chain), certificate.local_names()
            names = [*own, *reachable] if chain else reachable
        try:
            code = serving.serve(
                host="0.0.0.0" if options["lan"] else "127.0.0.1",
                port=options["port"],
                names=names,
                certificate=files,
                say=self._say,
                on_ready=self._announce,
            )
        except (serving.AlreadyRunning, serving.PortInUse) as problem:
            raise CommandError(str(problem)) from problem
        if code:
            sys.exit(code)

    def _certificate(self, chain: Path | None, key: Path | None) -> serving.Certificate:
        if chain is not None and key is not None:
            for path in (chain, key):
                if not path.is_file():
                    raise CommandError(f"There is no file {path}.")
            return serving.Certificate(chain.resolve(), key.resolve())
        files = certificate.Files.within(settings.DATA_DIR / "tls")
        if not files.chain.exists():
            certificate.write(files.chain.parent, certificate.local_names(), now=clock.now())
            self._say(f"Created a certificate. Phones that trust {files.root} show no warning.")
        missing = set(certificate.local_names()) - set(certificate.names_of(files.chain))
        if missing or certificate.valid_until(files.chain) < clock.now() + timedelta(days=30):
            why = f"does not name {', '.join(sorted(missing))}" if missing else "expires soon"
            self._say(f"The certificate {why}: run manage.py make_certificate for a new one.")
        return serving.Certificate(files.chain, files.key)

    def _say(self, line: str) -> None:
        self.stderr.write(line)
        self.stderr.flush()

    def _announce(self, address: str) -> None:
        self.stdout.write(f"Gearroom serves at {current().public_url or address} (Ctrl-C stops it)")
        if claiming.is_open():
            self.stdout.write(
                f"Nobody has a login yet. To set up this installation, open {address}/begin/ "
                f"and enter the code {claiming.code()}"
            )
        self.stdout.flush()
