"""Names, telephones and addresses of rows that are kept for ever, where they can be erased."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("core", "0005_accounts_guarded"),
    ]

    operations = [
        migrations.AddField(
            model_name="person",
            name="erased_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.CreateModel(
            name="Redaction",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.UUIDField()),
                ("at", models.DateTimeField()),
                (
                    "about",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="redactions",
                        to="core.person",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="core.person",
                    ),
                ),
            ],
            options={
                "ordering": ["id"],
            },
        ),
        migrations.CreateModel(
            name="PersonalText",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("text", models.CharField(max_length=500)),
                (
                    "person",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="texts",
                        to="core.person",
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["text"], name="personal_text_by_words")],
            },
        ),
        migrations.CreateModel(
            name="RedactedRow",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("table", models.CharField(max_length=60)),
                ("column", models.CharField(max_length=60)),
                ("row", models.CharField(max_length=40)),
                ("sha256", models.CharField(max_length=64)),
                (
                    "redaction",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="rows",
                        to="core.redaction",
                    ),
                ),
            ],
            options={
                "ordering": ["id"],
                "indexes": [
                    models.Index(fields=["table", "column", "row"], name="redacted_row_by_place")
                ],
            },
        ),
    ]
