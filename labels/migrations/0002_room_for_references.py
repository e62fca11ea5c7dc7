"""What was read may hold references in the place of names, which are longer."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("labels", "0001_initial"),
    ]

    operations = [
        migrations.AlterField(
            model_name="scan",
            name="text",
            field=models.CharField(blank=True, max_length=2500),
        ),
    ]
