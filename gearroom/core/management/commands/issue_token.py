"""`manage.py issue_token USERNAME`: a new token, alone on standard output.

It reads, and nothing else, unless `--scopes` asks for more.
"""

from typing import Any

from django.core.management.base import CommandError, CommandParser

from gearroom.core.acts import Problem
from gearroom.core.management.base import ProjectCommand
from gearroom.core.models import User
from gearroom.core.rules.roles import Scope
from gearroom.core.services.accounts import tokens

ALL = "all"


class Command(ProjectCommand):
    """Prints the secret once; it can not be had again."""

    help = "Create a token for a user and print only the token on standard output."

    def add_arguments(self, parser: CommandParser) -> None:
        """USERNAME, --scopes, --days, --name."""
        parser.add_argument("username")
        parser.add_argument(
            "--scopes",
            default=str(Scope.READ),
            help=f"comma-separated, of {', '.join(Scope)}; “{ALL}”: every one; default: read",
        )
        parser.add_argument("--days", type=int, default=365, help="until it expires; default 365")
        parser.add_argument("--name", default="issue_token", help="what it is for")

    def handle(self, *args: Any, **options: Any) -> None:
        """Make it, print it."""
        user = User.objects.filter(username__iexact=options["username"]).first()
        if user is None:
            raise CommandError(
                f"There is no user {options['username']}. Add one with manage.py createsuperuser,"
                " or give somebody a login."
            )
        if not user.is_active:
            raise CommandError(f"{user} can no longer log in, so a token would not work.")
        try:
            _, secret = tokens.make(
                user=user,
                name=options["name"],
                scopes=Scope if options["scopes"] == ALL else options["scopes"].split(","),
                days=options["days"],
            )
        except Problem as problem:
            raise CommandError(problem.detail) from problem
        self.stdout.write(secret)
