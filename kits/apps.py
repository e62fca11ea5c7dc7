from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class KitsConfig(AppConfig):
    name = "kits"
    label = "kits"

    def ready(self) -> None:
        from gearroom.core.services.people import rooms

        post_migrate.connect(_judge_again, sender=self, dispatch_uid="judge-again")
        rooms.EDITED.append(_judge_by_room)


def _judge_by_room(act: Any, room: Any, changed: frozenset[str]) -> None:
    """After a room was edited, let its kits be judged by what it says now."""
    from kits.services.kits import holds

    holds.judge_by_room(act, room, changed)


def _judge_again(*, apps: Any, **_signal: Any) -> None:
    """After a migrate, let today's rules judge the kits that earlier ones judged."""
    from kits.models import Kit
    from kits.services.ledger import readiness

    try:
        migrated = {field.column for field in apps.get_model("kits", "Kit")._meta.local_fields}
    except LookupError:
        return  # migrated back to before there were kits
    if migrated == {field.column for field in Kit._meta.local_fields}:
        readiness.judge_again()
