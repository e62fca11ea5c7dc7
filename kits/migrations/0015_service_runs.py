"""When the program looked for what is due, so that a pause is known."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('kits', '0014_evidence'),
    ]

    operations = [
        migrations.CreateModel(
            name='ServiceRun',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('began_at', models.DateTimeField()),
                ('looked_at', models.DateTimeField()),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
    ]
