"""The outer places, of which there is one each for the organisation."""

from django.db import migrations

OUTER = {
    "supplier": "supplier",
    "used": "used",
    "bin": "bin",
    "sharps": "sharps tub",
    "clinical": "clinical waste",
    "pharmacy": "pharmacy",
    "returned": "returned to maker",
    "unexplained": "unexplained",
    "reclassified": "reclassified",
}


def make(apps, schema_editor):
    place = apps.get_model("kits", "Place")
    for kind, name in OUTER.items():
        place.objects.get_or_create(kind=kind, room=None, kit=None, defaults={"name": name})


class Migration(migrations.Migration):
    dependencies = [("kits", "0001_initial")]
    operations = [migrations.RunPython(make, migrations.RunPython.noop)]
