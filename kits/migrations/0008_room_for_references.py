"""What people typed may hold references in the place of names, which are longer."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("kits", "0007_evening"),
    ]

    operations = [
        migrations.AlterField(
            model_name="entry",
            name="incident",
            field=models.CharField(blank=True, max_length=400),
        ),
        migrations.AlterField(
            model_name="entry",
            name="reason",
            field=models.CharField(blank=True, max_length=2500),
        ),
        migrations.AlterField(
            model_name="instrumentcheck",
            name="answer",
            field=models.CharField(blank=True, max_length=1000),
        ),
        migrations.AlterField(
            model_name="receipt",
            name="supplier",
            field=models.CharField(blank=True, max_length=600),
        ),
        migrations.AlterField(
            model_name="unmetneed",
            name="words",
            field=models.CharField(blank=True, max_length=600),
        ),
    ]
