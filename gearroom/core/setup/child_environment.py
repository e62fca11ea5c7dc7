"""What a process gets that reads what strangers send. (It may know no Django.)"""

from collections.abc import Mapping

PASSED_ON = ("PATH", "LANG", "LC_ALL", "LC_CTYPE", "TMPDIR", "TZ", "LD_LIBRARY_PATH", "PYTHONPATH")
"""What any program needs to run; none of it is a secret."""


def without_secrets(environment: Mapping[str, str]) -> dict[str, str]:
    """The part of an environment that holds no key, password or address of a database."""
    return {name: environment[name] for name in PASSED_ON if name in environment}
