from django.apps import AppConfig


class CoreConfig(AppConfig):
    name = "gearroom.core"
    label = "core"
