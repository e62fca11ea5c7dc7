"""What a kit is for and what it leaves out: needs, rates, activities, and whether kits closed."""

import django.db.models.deletion
from django.db import migrations, models

from kits.rules.planning import vocabulary


def begin_with_vocabulary(apps, schema_editor):
    need, activity = apps.get_model("kits", "Need"), apps.get_model("kits", "Activity")
    rows = {
        given.key: need.objects.create(key=given.key, name=given.name, group=given.group)
        for given in vocabulary.NEEDS
    }
    activity.objects.bulk_create(activity(key=key, name=name) for key, name in vocabulary.ACTIVITIES)
    hazard_need = apps.get_model("kits", "HazardNeed")
    hazard_need.objects.bulk_create(
        hazard_need(hazard=each.hazard, need=rows[each.need], units=each.units, reason=each.reason)
        for each in vocabulary.HAZARDS
    )


class Migration(migrations.Migration):

    dependencies = [
        ('core', '0006_names_apart'),
        ('kits', '0009_notification_preferences'),
    ]

    operations = [
        migrations.CreateModel(
            name='Activity',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.SlugField(max_length=40, unique=True)),
                ('name', models.CharField(max_length=80, unique=True)),
                ('retired_on', models.DateField(blank=True, null=True)),
            ],
            options={
                'verbose_name_plural': 'activities',
                'ordering': ['name'],
            },
        ),
        migrations.CreateModel(
            name='Need',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.SlugField(max_length=40, unique=True)),
                ('name', models.CharField(max_length=80, unique=True)),
                ('group', models.CharField(choices=[('wounds', 'wounds and bleeding'), ('feet', 'feet and skin'), ('limbs', 'sprains and broken bones'), ('illness', 'pain and illness'), ('allergy', 'bites, stings and allergy'), ('heat-cold', 'heat and cold'), ('severe', 'life-threatening'), ('protection', 'protection of whoever helps')], max_length=12)),
                ('retired_on', models.DateField(blank=True, null=True)),
            ],
            options={
                'ordering': ['group', 'name'],
            },
        ),
        migrations.AddField(
            model_name='trip',
            name='hours_to_care',
            field=models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True),
        ),
        migrations.AddField(
            model_name='trip',
            name='activity',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='trips', to='kits.activity'),
        ),
        migrations.AddField(
            model_name='listsection',
            name='outside',
            field=models.BooleanField(default=False),
        ),
        migrations.CreateModel(
            name='Closing',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('closed', models.BooleanField(null=True)),
                ('volume_ml', models.PositiveIntegerField(null=True)),
                ('known_share', models.FloatField(default=0)),
                ('mass_g', models.PositiveIntegerField(null=True)),
                ('entry', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='closings', to='kits.entry')),
                ('kit', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='closings', to='kits.kit')),
                ('section', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='kits.place')),
            ],
            options={
                'ordering': ['id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('closed__isnull', False), ('mass_g__isnull', False), _connector='OR'), name='closing_says_something'), models.CheckConstraint(condition=models.Q(('known_share__gte', 0), ('known_share__lte', 1)), name='closing_share_in_bounds')],
            },
        ),
        migrations.CreateModel(
            name='ItemNeed',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('best', models.BooleanField(default=True)),
                ('units_per_use', models.PositiveSmallIntegerField(default=1)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='needs', to='kits.item')),
                ('need', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='items', to='kits.need')),
            ],
            options={
                'ordering': ['need', '-best', 'item'],
                'constraints': [models.UniqueConstraint(fields=('item', 'need'), name='item_serves_need_once'), models.CheckConstraint(condition=models.Q(('units_per_use__gte', 1), ('units_per_use__lte', 16)), name='item_need_units_in_bounds')],
            },
        ),
        migrations.CreateModel(
            name='HazardNeed',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('hazard', models.SlugField(max_length=40)),
                ('units', models.PositiveSmallIntegerField(default=1)),
                ('reason', models.CharField(max_length=300)),
                ('need', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='hazards', to='kits.need')),
            ],
            options={
                'ordering': ['hazard', 'need'],
                'constraints': [models.UniqueConstraint(fields=('hazard', 'need'), name='hazard_need_once'), models.CheckConstraint(condition=models.Q(('units__gte', 1)), name='hazard_need_of_a_unit')],
            },
        ),
        migrations.CreateModel(
            name='NotCarried',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('why', models.CharField(choices=[('no-training', 'nobody is trained to use it'), ('not-needed', 'this list’s trips do not need it'), ('never-used', 'never used here'), ('expires', 'goes out of date unused'), ('too-big', 'too heavy or too big'), ('not-allowed', 'law, protocol or adviser does not allow it'), ('elsewhere', 'carried by somebody else'), ('other-way', 'something else does the job'), ('other', 'another reason')], max_length=12)),
                ('words', models.CharField(blank=True, max_length=300)),
                ('instead', models.CharField(blank=True, max_length=300)),
                ('hazards', models.JSONField(default=list)),
                ('activities', models.JSONField(default=list)),
                ('hours_to_care', models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                ('trained', models.CharField(blank=True, max_length=300)),
                ('decided_on', models.DateField(blank=True, null=True)),
                ('look_again_on', models.DateField(blank=True, null=True)),
                ('look_again_after', models.CharField(blank=True, max_length=200)),
                ('position', models.PositiveSmallIntegerField(default=0)),
                ('decided_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='core.person')),
                ('item', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='not_carried', to='kits.item')),
                ('need', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='not_carried', to='kits.need')),
                ('version', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='not_carried', to='kits.packinglistversion')),
            ],
            options={
                'verbose_name_plural': 'not carried',
                'ordering': ['position', 'id'],
                'constraints': [models.UniqueConstraint(fields=('version', 'item'), name='item_not_carried_once'), models.UniqueConstraint(fields=('version', 'need'), name='need_not_carried_once'), models.CheckConstraint(condition=models.Q(models.Q(('item__isnull', False), ('need__isnull', True)), models.Q(('item__isnull', True), ('need__isnull', False)), _connector='OR'), name='not_carried_of_an_item_or_a_need'), models.CheckConstraint(condition=models.Q(models.Q(('why', 'other'), _negated=True), models.Q(('words', ''), _negated=True), _connector='OR'), name='not_carried_other_says_why')],
            },
        ),
        migrations.CreateModel(
            name='StatedRate',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('per_1000', models.DecimalField(decimal_places=4, max_digits=9, null=True)),
                ('weight', models.DecimalField(decimal_places=2, default=1, max_digits=3)),
                ('source', models.CharField(choices=[('adviser', 'stated by the adviser'), ('study', 'published')], max_length=8)),
                ('study', models.CharField(blank=True, max_length=40)),
                ('note', models.CharField(blank=True, max_length=1500)),
                ('stated_at', models.DateTimeField()),
                ('activity', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='stated_rates', to='kits.activity')),
                ('need', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='stated_rates', to='kits.need')),
                ('stated_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='core.person')),
            ],
            options={
                'ordering': ['id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('per_1000__isnull', True), models.Q(('per_1000__gt', 0), ('weight__gt', 0), ('weight__lte', 2)), _connector='OR'), name='stated_rate_in_bounds'), models.CheckConstraint(condition=models.Q(models.Q(('source', 'study'), models.Q(('study', ''), _negated=True)), models.Q(('source', 'adviser'), ('study', '')), _connector='OR'), name='stated_rate_of_a_study_names_it')],
            },
        ),
        migrations.RunPython(begin_with_vocabulary, migrations.RunPython.noop),
    ]
