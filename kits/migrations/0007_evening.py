"""What was needed and not carried, what is used in class, and what went with a casualty and may come
back."""

import django.db.models.deletion
from django.db import migrations, models


def make_place(apps, schema_editor):
    apps.get_model("kits", "Place").objects.get_or_create(
        kind="class", room=None, kit=None, defaults={"name": "used in class"}
    )


class Migration(migrations.Migration):

    dependencies = [
        ('core', '0004_people_merged'),
        ('kits', '0006_recall_outcomes_and_ways_out'),
    ]

    operations = [
        migrations.CreateModel(
            name='UnmetNeed',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('words', models.CharField(blank=True, max_length=120)),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.RemoveConstraint(
            model_name='place',
            name='one_such_place_in_a_room',
        ),
        migrations.RemoveConstraint(
            model_name='place',
            name='place_belongs_where_its_kind_does',
        ),
        migrations.AlterField(
            model_name='entry',
            name='kind',
            field=models.CharField(choices=[('receive', 'Receive'), ('build', 'Build'), ('strip', 'Strip'), ('empty', 'Empty'), ('check-out', 'Check Out'), ('check-in', 'Check In'), ('pass', 'Pass'), ('emergency', 'Emergency'), ('clearance', 'Clearance'), ('use', 'Use'), ('unmet-need', 'Unmet Need'), ('not-ours', 'Not Ours'), ('come-back', 'Come Back'), ('write-off', 'Write Off'), ('look-inside', 'Look Inside'), ('count', 'Count'), ('restock', 'Restock'), ('reseal', 'Reseal'), ('check', 'Check'), ('withhold', 'Withhold'), ('release', 'Release'), ('lay-up', 'Lay Up'), ('wake', 'Wake'), ('take-out', 'Take Out'), ('dispose', 'Dispose'), ('move', 'Move'), ('arrive', 'Arrive'), ('borrow', 'Borrow'), ('open', 'Open'), ('lost', 'Lost'), ('found', 'Found'), ('recall', 'Recall'), ('recall-answer', 'Recall Answer'), ('recall-close', 'Recall Close'), ('correct-lot', 'Correct Lot'), ('reverse', 'Reverse'), ('reserve', 'Reserve'), ('unreserve', 'Unreserve'), ('trip', 'Trip'), ('follow-list', 'Follow List'), ('kit', 'Kit'), ('label', 'Label')], max_length=16),
        ),
        migrations.AlterField(
            model_name='place',
            name='kind',
            field=models.CharField(choices=[('shelf', 'shelf'), ('section', 'kit section'), ('quarantine', 'quarantine'), ('transit', 'in transit'), ('training', 'training'), ('away', 'went with a casualty'), ('supplier', 'supplier'), ('used', 'used'), ('class', 'used in class'), ('bin', 'bin'), ('sharps', 'sharps'), ('clinical', 'clinical waste'), ('pharmacy', 'pharmacy'), ('returned', 'returned to maker'), ('sold', 'sold'), ('given', 'given away'), ('unexplained', 'unexplained'), ('reclassified', 'reclassified')], max_length=12),
        ),
        migrations.AlterField(
            model_name='withheldfact',
            name='kind',
            field=models.CharField(choices=[('recall', 'recall'), ('failed-check', 'failed check'), ('drying', 'drying'), ('something-wrong', 'something wrong'), ('keep-as-it-came-back', 'keep as it came back'), ('mixed', "contents mixed with another kit's")], max_length=24),
        ),
        migrations.AlterField(
            model_name='withholding',
            name='kind',
            field=models.CharField(choices=[('recall', 'recall'), ('failed-check', 'failed check'), ('drying', 'drying'), ('something-wrong', 'something wrong'), ('keep-as-it-came-back', 'keep as it came back'), ('mixed', "contents mixed with another kit's")], max_length=24),
        ),
        migrations.AddConstraint(
            model_name='place',
            constraint=models.UniqueConstraint(condition=models.Q(('kind__in', ['quarantine', 'transit', 'training', 'away'])), fields=('room', 'kind'), name='one_such_place_in_a_room'),
        ),
        migrations.AddConstraint(
            model_name='place',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind', 'section'), ('kit__isnull', False), ('room__isnull', True), models.Q(('section_key', ''), _negated=True)), models.Q(('kind__in', ['shelf', 'quarantine', 'transit', 'training', 'away']), ('kit__isnull', True), ('room__isnull', False), ('section_key', '')), models.Q(('kind__in', ['supplier', 'used', 'class', 'bin', 'sharps', 'clinical', 'pharmacy', 'returned', 'sold', 'given', 'unexplained', 'reclassified']), ('kit__isnull', True), ('room__isnull', True), ('section_key', '')), _connector='OR'), name='place_belongs_where_its_kind_does'),
        ),
        migrations.AddField(
            model_name='unmetneed',
            name='entry',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='unmet_needs', to='kits.entry'),
        ),
        migrations.AddField(
            model_name='unmetneed',
            name='item',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='unmet_needs', to='kits.item'),
        ),
        migrations.AddConstraint(
            model_name='unmetneed',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('item__isnull', False), ('words', '')), models.Q(('item__isnull', True), models.Q(('words', ''), _negated=True)), _connector='OR'), name='unmet_need_of_a_thing_or_in_words'),
        ),
        # Last: PostgreSQL alters no table whose rows wait for their foreign keys to be checked.
        migrations.RunPython(make_place, migrations.RunPython.noop),
    ]
