from django.apps import AppConfig
from django.db.models.signals import post_init, post_migrate
from django.utils.module_loading import autodiscover_modules


class CoreConfig(AppConfig):
    name = "gearroom.core"
    label = "core"

    def ready(self) -> None:
        from gearroom.core.models.append_only import protect
        from gearroom.core.services.people import names

        post_migrate.connect(protect, dispatch_uid="append-only")
        post_init.connect(names.note, sender=self.get_model("Person"), dispatch_uid="names")
        # Each app says in a module of this name what its own problems mean.
        autodiscover_modules("problem_codes")
