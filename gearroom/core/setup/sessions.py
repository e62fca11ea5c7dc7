"""Django's sessions in the database, which say what kept one from being written."""

from django.contrib.sessions.backends import db
from django.contrib.sessions.backends.base import UpdateError

from gearroom.core.database_failures import failure_of


class SessionStore(db.SessionStore):
    """As Django's; but a full disk is not taken for a session that was ended meanwhile, and a key
    that Django never drew is none."""

    def _validate_session_key(self, key: str) -> bool:
        by_django = super()._validate_session_key(key)  # type: ignore[misc]  # not in its types
        return by_django and key.isascii() and key.isalnum()

    def save(self, must_create: bool = False) -> None:
        """Write it. Raises UpdateError where it was ended, and the database's own error."""
        try:
            super().save(must_create)
        except UpdateError as error:
            cause = error.__context__
            if cause is not None and failure_of(cause) is not None:
                raise cause  # noqa: B904  (with the cause that it has)
            raise
