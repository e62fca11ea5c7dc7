"""The host names that the program answers to: those of the environment, and that of the public
address, which may be set while it runs."""

from collections.abc import Iterator
from urllib.parse import urlsplit


class AllowedHosts(list[str]):
    """Django's ALLOWED_HOSTS with the host of the public address at its end."""

    def __iter__(self) -> Iterator[str]:
        # Settings are read before there are any tables.
        from gearroom.core.models.installation import current

        yield from super().__iter__()
        if host := urlsplit(current().public_url).hostname:
            yield f"[{host}]" if ":" in host else host
