"""Until now everybody had English; nobody was asked, so that it counts as not chosen."""

from django.db import migrations, models


def not_chosen(apps, schema_editor):
    """English that was there from the start becomes no choice."""
    people = apps.get_model("core", "Person").objects.using(schema_editor.connection.alias)
    people.filter(language="en-gb").update(language="")


class Migration(migrations.Migration):
    dependencies = [("core", "0001_initial")]

    operations = [
        migrations.AlterField(
            model_name="person",
            name="language",
            field=models.CharField(blank=True, default="", max_length=10),
        ),
        migrations.RunPython(not_chosen, migrations.RunPython.noop),
    ]
