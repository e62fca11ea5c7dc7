"""The settings of how somebody is notified, under a name that says so."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [
        ("core", "0006_names_apart"),
        ("kits", "0008_room_for_references"),
    ]

    operations = [
        migrations.RemoveConstraint("Hearing", "hearing_day_of_a_week"),
        migrations.RemoveConstraint("Hearing", "hearing_quiet_from_and_until"),
        migrations.RemoveConstraint("HearingChoice", "hearing_choice_once_a_kind"),
        migrations.RenameModel("Hearing", "NotificationPreferences"),
        migrations.RenameModel("HearingChoice", "NotificationChoice"),
        migrations.AlterField(
            "NotificationChoice",
            "person",
            models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE,
                related_name="notification_choices",
                to="core.person",
            ),
        ),
        migrations.AlterField(
            "NotificationPreferences",
            "person",
            models.OneToOneField(
                on_delete=django.db.models.deletion.CASCADE,
                related_name="notification_preferences",
                to="core.person",
            ),
        ),
        migrations.AddConstraint(
            "NotificationChoice",
            models.UniqueConstraint(
                fields=("person", "kind"), name="notification_choice_once_a_kind"
            ),
        ),
        migrations.AddConstraint(
            "NotificationPreferences",
            models.CheckConstraint(condition=Q(weekly_on__lte=6), name="preferences_day_of_a_week"),
        ),
        migrations.AddConstraint(
            "NotificationPreferences",
            models.CheckConstraint(
                condition=Q(quiet_from__isnull=True, quiet_until__isnull=True)
                | Q(quiet_from__isnull=False, quiet_until__isnull=False),
                name="preferences_quiet_from_and_until",
            ),
        ),
    ]
