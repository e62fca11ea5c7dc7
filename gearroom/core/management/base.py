"""What the project's own commands share."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor

from gearroom.core.database_failures import failure_of


class ProjectCommand(BaseCommand):
    """A command that starts quickly, and says what to do where the database is not set up."""

    # Checks load every page and the API; the web program does that itself.
    requires_system_checks = ()

    def execute(self, *args: Any, **options: Any) -> str | None:
        try:
            return super().execute(*args, **options)
        except DatabaseError as error:
            if failure_of(error) is not None or not lacks_migrations():
                raise
            raise CommandError(
                "The database is not set up for this version. Run `manage.py migrate` first; "
                "`serve` and `demo` do this automatically."
            ) from error


def lacks_migrations() -> bool:
    """Whether the database lacks migrations of the program."""
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))
