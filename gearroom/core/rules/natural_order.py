"""Names in the order in which people count."""

import re

NaturalKey = tuple[tuple[int, str], ...]


def natural(text: str) -> NaturalKey:
    """Return a key that sorts DAY-2 before DAY-10, whatever the case."""
    return tuple(
        (int(part), "") if part.isdecimal() else (-1, part.casefold())
        for part in re.split(r"(\d+)", text)
        if part
    )
