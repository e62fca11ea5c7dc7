"""Of answers an example each, as it is really given; the apps' glossaries add theirs."""

from typing import Any

Call = tuple[str, str, int]
"""A method in lower case, a path below the API's own as the schema has it, and a status."""
ANSWERS: dict[Call, dict[str, Any]] = {}
