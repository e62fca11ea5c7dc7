"""Numbers of units as a request gives them, checked once at the edge of the services."""

from gearroom.core.acts import Invalid
from kits.rules.text import quantities
from kits.services.text.wording import in_words


def units(value: object, *, field: str = "units", least: int = 1) -> int:
    """`value` as a number of base units. Raises Invalid that names `field`."""
    try:
        return quantities.units(value, least=least)
    except quantities.QuantityError as error:
        raise Invalid(in_words(error.says), field=field) from error
