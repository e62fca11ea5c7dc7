"""`manage.py demo`: everything from nothing, a day played through the API, then it serves on."""

import json
import os
import socket
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError, CommandParser
from django.db import connections

from gearroom.core import clock
from gearroom.core.management.base import ProjectCommand
from gearroom.core.models import User
from gearroom.core.models.installation import current
from gearroom.core.rules.roles import Scope
from gearroom.core.services.accounts import tokens
from gearroom.site.demo.day import Api, Day
from gearroom.site.ops import serving
from gearroom.site.scenario import load

WHO = "jo"
CAUTION = (
    "This program keeps track of stock and does the arithmetic; it does not give medical advice.\n"
    "What a kit contains, and who may use it, is decided by your medical adviser, your protocols,\n"
    "local law and each person's training. Look at every pack before use. Local rules apply to\n"
    "medicines, sharps and clinical waste."
)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Command(ProjectCommand):
    help = "Loads a demo school, plays through a day with the API, prints it, and keeps serving."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="TCP port; 0 picks a free one")
        parser.add_argument(
            "--load-only", action="store_true", help="set up database and demo school, then exit"
        )

    def handle(self, **options: Any) -> None:
        self.kept_file = settings.DATA_DIR / "demo.json"
        serving.migrate_if_behind(self._say)
        self._load()
        if options["load_only"]:
            return
        port = options["port"] or _free_port()
        if not current().public_url:
            # Labels and mails of the demonstration lead to it.
            settings.PUBLIC_URL = os.environ["GEARROOM_PUBLIC_URL"] = f"http://localhost:{port}"
        try:
            serving.serve(
                host="127.0.0.1",
                port=port,
                names=["127.0.0.1", "localhost"],
                certificate=None,
                say=self.stderr.write,
                on_ready=self._play_and_tell,
            )
        except (serving.AlreadyRunning, serving.PortInUse) as problem:
            raise CommandError(str(problem)) from problem

    def _load(self) -> None:
        self._say("Umberfell Outdoor School (fictional), with a year and a half of trips:")
        if (school := load.load(lambda line: self._say(f"   {line}"))) is None:
            self._say("   already loaded; its data is kept")
        else:
            self._keep(passwords=school.passwords)

    def _play_and_tell(self, address: str) -> None:
        """Called when the server answers."""
        kept = self._kept()
        if "token" not in kept:
            kept = self._keep(token=self._token())
        if "began_at" in kept:
            self._say(f"\nThe day was played at {kept['began_at'][:16]} UTC; everything is kept.")
        else:
            self._keep(began_at=clock.now().isoformat())
            day = Day(
                Api(address, kept["token"]), settings.DATA_DIR / "demo", self._say, self._weekly
            )
            self._keep(facts=day.play())
        self._say(
            f"\nGearroom serves at {current().public_url or address} (Ctrl-C stops it)\n"
            f"   log in as    {WHO}\n"
            f"   password     {kept.get('passwords', {}).get(WHO, 'as set before')}\n"
            f"   token        {kept['token']}\n"
            f"   API          {address}/api/v1/docs/\n\n{CAUTION}"
        )
        connections.close_all()

    def _weekly(self) -> list[str]:
        """Write the weekly emails; the names of the files in the outbox."""
        before = set(settings.EMAIL_OUTBOX_DIR.glob("*.eml"))
        call_command("send_digests", verbosity=0)
        return sorted(str(file) for file in set(settings.EMAIL_OUTBOX_DIR.glob("*.eml")) - before)

    def _token(self) -> str:
        if (user := User.objects.filter(username=WHO).first()) is None:
            raise CommandError(
                f"There is no user “{WHO}”, so this is not the data of the demo. Set "
                "GEARROOM_DATA_DIR to a new folder for it."
            )
        return tokens.make(user=user, name="demonstration", scopes=Scope)[1]

    def _kept(self) -> dict[str, Any]:
        if not self.kept_file.exists():
            return {}
        kept: dict[str, Any] = json.loads(self.kept_file.read_text())
        return kept

    def _keep(self, **more: Any) -> dict[str, Any]:
        """What later runs need again, readable by this user alone."""
        kept = {**self._kept(), **more}
        draft = self.kept_file.with_suffix(".new")
        draft.touch(mode=0o600)
        draft.write_text(json.dumps(kept, indent=1))
        draft.replace(self.kept_file)
        return kept

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
