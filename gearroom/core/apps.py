from django.apps import AppConfig
from django.db.models.signals import post_migrate


class CoreConfig(AppConfig):
    name = "gearroom.core"
    label = "core"

    def ready(self) -> None:
        from gearroom.core.append_only import protect

        post_migrate.connect(protect, dispatch_uid="append-only")
