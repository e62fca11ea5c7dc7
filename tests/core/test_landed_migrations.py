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
    "gearroom/core/migrations/0007_works_alone.py": (
        "ea11bad9a4329edb95411e676ad3c06f57671e36f78ed701b00faaf0f3910d91"
    ),
    "gearroom/core/migrations/0008_installation.py": (
        "9710b4d28a87fc24bb528b8dffd43275bf6b09e6953e489004fe9d62e10706d2"
    ),
    "gearroom/core/migrations/0009_sign_ins_ended.py": (
        "d69b0859722bc3b1a77e128ad1012c20370a007bfacd8d25f7c8c132e708c571"
    ),
    "gearroom/core/migrations/0010_opening_pays_from.py": (
        "df844ddeda7e521ae457b045d4de375e47fa116270d283e888ee158623aa0c43"
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
    "kits/migrations/0011_item_need_needs_training.py": (
        "c16c0e7629c60be6d5650349b812c9f324375ee881115e9ed2c5d0e83f14804f"
    ),
    "kits/migrations/0012_advice.py": (
        "ebad9a8ab1608eccd51cfb0dc1f818a4a41ead7848532585f651f9a22331be37"
    ),
    "kits/migrations/0013_photo_section.py": (
        "895e6a666a5d88200f9f9406eaf9f6a029c69204ff6594a1eb7659e407672d86"
    ),
    "kits/migrations/0014_evidence.py": (
        "d6c2727e8236cd481f9c4f547a944723a9265776de46915c4ac9ec53f6a89b06"
    ),
    "kits/migrations/0015_service_runs.py": (
        "5402a3df6d7d2ec20e42e2cd32d614583a73eac62eee77089848270f7b701cb3"
    ),
    "kits/migrations/0016_buying.py": (
        "be07e86f440274c515fe907e4be6929d3258089961e258c84f4bf78682736cfa"
    ),
    "kits/migrations/0017_calendar_by.py": (
        "9e12ec78df4eefddb23dc85e01ace8bd29f27311f546835cf8231608803db807"
    ),
    "kits/migrations/0018_ordered_on.py": (
        "7e1428ce0e75d2e90dde5c04ecb5a86e595e3fae5c327dd7804827c62ea6bfcd"
    ),
    "kits/migrations/0019_orders.py": (
        "faa5d60bbdca518eb2aee3c6048a98fb483cddca0cf21fb374497e30c0492a8e"
    ),
    "kits/migrations/0020_filled_kits.py": (
        "da8aaddbcd925c04234dbd57edc96d6ba8355827ffab4957698aaa28aee2ed86"
    ),
    "kits/migrations/0021_replaced_at_next_order.py": (
        "1fecde2ad8c1409e74931c31fab3f3f9488d3750e4b1fb9b34b1239ad2f55384"
    ),
    "kits/migrations/0022_locations.py": (
        "cc0de24a8bfa1d880e5e71440bec9fe509ca6188830ff87b84acf9a1d82ee144"
    ),
    "kits/migrations/0023_what_orders_do_without.py": (
        "724ca4dc92cfaf62e82f07e4b3f8b48918b4a60f3913be0c37ad87a3c2118025"
    ),
    "kits/migrations/0024_leave.py": (
        "7f3374c1d74ba9d15413a865dc00bbc23171dbd893d4900f3517bf651e1c2c56"
    ),
    "kits/migrations/0025_goes_with.py": (
        "a2113b2ddf38d1d3ea469ae209620574aa443b4455fb2169954d055da6fb0459"
    ),
    "kits/migrations/0026_order_worked_out.py": (
        "5ccf4ad1cea863241976eedaecd28d7dda50935d28c3e1011fe26a58b5b31348"
    ),
    "kits/migrations/0027_ordered_for_class.py": (
        "b221127f312ffed1f5608187073fc4ff99e7e6777944046587b82ba7919f9335"
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
