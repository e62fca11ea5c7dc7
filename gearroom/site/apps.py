from django.apps import AppConfig


class SiteConfig(AppConfig):
    name = "gearroom.site"
    label = "site"
