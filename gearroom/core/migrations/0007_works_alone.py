"""Whether somebody who works alone wants to see everything all the same."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('core', '0006_names_apart'),
    ]

    operations = [
        migrations.AddField(
            model_name='person',
            name='shows_all',
            field=models.BooleanField(default=False),
        ),
    ]
