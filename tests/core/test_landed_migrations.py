"""Landed migrations are frozen: a file of one that runs somewhere never changes, nor does what it
takes from our modules. A mistake in one is put right by the next.

A new migration gets its line here once it has run on a database that somebody keeps.
"""

import ast
import hashlib
import importlib
import inspect
from pathlib import Path

from tests.keeper import PROJECT

OURS = ("gearroom", "kits", "labels")

FROZEN = {
    "gearroom/core/migrations/0001_initial.py": (
        "ea44d8a749cdc34bd43275ad7f47027f3cd8ea603065dcde58d505be7d5d9aec"
    ),
    "gearroom/core/migrations/0002_language_not_chosen.py": (
        "b6dd662956a84232e266dc0132cc2bd0a4ab22063dd3a5193d8dd5a9c038d825"
    ),
    "gearroom/core/migrations/0003_room_rules.py": (
        "f364447a0143837c7b93927d2a142cd1365b9f06822f04ee02d40593bd7498ef"
    ),
    "gearroom/core/migrations/0004_people_merged.py": (
        "f684952e0c9a18c579faad93775727d4e1e82271dd867f10a464b58aba243e1b"
    ),
    "gearroom/core/migrations/0005_accounts_guarded.py": (
        "0f41180289c3a8022e5631358e4148f83c6c1eba80338700d0bdd250ad235f2a"
    ),
    "gearroom/core/migrations/0006_names_apart.py": (
        "e0be0feeff2083380324b3a1e53ee6ad59b20130ccd03420f514231815ebc859"
    ),
    "kits/migrations/0001_initial.py": (
        "d40435f19741a78b46fd59f1a254482e3f9b5ea4387477818a7d4877e9478400"
    ),
    "kits/migrations/0002_outer_places.py": (
        "b6d04208c8342e0343e4a35085a76c1f52bd2f4d503e5f74f3dd77b8d4eabce8"
    ),
    "kits/migrations/0003_verdicts_by_word.py": (
        "2b2b9e8d61bd35a921bb760000edd8fe44f19be95ad17e60d6df1c46532314f6"
    ),
    "kits/migrations/0004_facts.py": (
        "3a04174588a3b37d3d0d5bf355f1bb84691c7ca0e22802606c08a99afab8b65d"
    ),
    "kits/migrations/0005_closed_and_cleared.py": (
        "1f66fbac23b221f609d4f5d4f33495fe06414c1eca7e81c182857c904e27adde"
    ),
    "kits/migrations/0006_recall_outcomes_and_ways_out.py": (
        "c17068b039929635fd9bf3a907a7653983cb7854dcdea1f613ddbab216aacece"
    ),
    "kits/migrations/0007_evening.py": (
        "5e48c304a483e075fb4ce3d3646f4b7a89d378e11adc3c0d8e38c9970ae1dc24"
    ),
    "kits/migrations/0008_room_for_references.py": (
        "a75c5cf1492ceb0731d9b5dbfe3cff8fcf00c3195416ee7d8531507647dddce8"
    ),
    "kits/migrations/0009_notification_preferences.py": (
        "40e811c5b0d43ec67e4d5ba3b44ee088539dfe87d1dd1edce0dd2b04340d9f24"
    ),
    "kits/migrations/0010_planning.py": (
        "ce8f4fd402825a7a59e61aa28e3372e317e6ea474e8a161c69ea675bf53ae062"
    ),
    "labels/migrations/0001_initial.py": (
        "8710f1e69adb32bf16349ef4d2c8c57990a5b51ff390e8b8fc3939136f09f87a"
    ),
    "labels/migrations/0002_room_for_references.py": (
        "a8e4ba6e521aee3211a1439015f23d5f1cc7c07779534d43e8f0be8e9541dcc7"
    ),
}
"""The SHA-256 of each landed migration's file."""

TAKEN = {
    "gearroom.core.clock.now": ("477c8f1c93cedbb5b03d798ccd6a92025737b48be6cdbc5989f22df03ce28513"),
    "gearroom.core.models.people.valid_time_zone": (
        "aa24fd10fb554f59b02390fdb7303399806f5ce7495042e1a53a2c876f965692"
    ),
    "kits.rules.planning.vocabulary": (
        "1b5fde9ffafb0bdd10e8850c9466676f2a651f2aae5f7a31555c639492837756"
    ),
}
"""The SHA-256 of the source of everything of ours that landed migrations take from elsewhere."""


def test_no_landed_migration_was_changed() -> None:
    assert {name: digest((PROJECT / name).read_bytes()) for name in FROZEN} == FROZEN


def test_nothing_that_landed_migrations_take_from_our_modules_was_changed() -> None:
    taken = {name for file in FROZEN for name in taken_by(PROJECT / file)}

    assert {name: digest(source_of(name)) for name in sorted(taken)} == TAKEN


def test_whatever_a_migration_takes_by_from_is_seen_too(tmp_path: Path) -> None:
    file = tmp_path / "0009_some.py"
    file.write_text("from gearroom.core.clock import today\nimport kits.rules.lookup.label_codes\n")
    assert taken_by(file) == {"gearroom.core.clock.today", "kits.rules.lookup.label_codes"}


# ------------------------------------------------------------------------------------- what is read
def taken_by(file: Path) -> set[str]:
    """The dotted names of ours that a migration takes from our modules: of a module that it
    imports, what it uses of it; the module itself where it uses nothing by name."""
    tree = ast.parse(file.read_text())
    modules = set()
    taken = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            modules |= {each.name for each in node.names if _is_ours(each.name)}
        elif isinstance(node, ast.ImportFrom) and node.module and _is_ours(node.module):
            taken |= {f"{node.module}.{each.name}" for each in node.names}
    dotted = {ast.unparse(node) for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    for module in modules:
        used = {name for name in dotted if name.startswith(f"{module}.")}
        taken |= used or {module}
    return taken


def _is_ours(module: str) -> bool:
    return module.split(".")[0] in OURS


def source_of(name: str) -> bytes:
    """The source of a module, or of a function or class in it; else the value that it names."""
    try:
        return inspect.getsource(importlib.import_module(name)).encode()
    except ModuleNotFoundError:
        module, _, rest = name.rpartition(".")
        value = getattr(importlib.import_module(module), rest)
        shown = inspect.isfunction(value) or inspect.isclass(value)
        return (inspect.getsource(value) if shown else repr(value)).encode()


def digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
