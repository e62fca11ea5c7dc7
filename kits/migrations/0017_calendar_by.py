"""What an event of a calendar is about that says what goes out of date."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("kits", "0016_buying"),
    ]

    operations = [
        migrations.AddField(
            model_name="notificationpreferences",
            name="calendar_by",
            field=models.CharField(
                choices=[("batch", "Batch"), ("month", "Month")], default="batch", max_length=5
            ),
        ),
    ]
