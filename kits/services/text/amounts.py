"""Numbers of units as a request gives them, checked once at the edge of the services."""

from kits.rules.text import quantities
from kits.services.text.wording import as_invalid


def units(value: object, *, field: str = "units", least: int = 1) -> int:
    """`value` as a number of base units. Raises Invalid that names `field`."""
    with as_invalid(field):
        return quantities.units(value, least=least)
