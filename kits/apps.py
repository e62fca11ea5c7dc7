from django.apps import AppConfig


class KitsConfig(AppConfig):
    name = "kits"
    label = "kits"
