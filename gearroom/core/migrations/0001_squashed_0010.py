"""All of 0001 to 0010 in one step, for a new database: each step by itself has to work out every
model again, so that an empty database took three times as long."""

import datetime
import django.contrib.auth.models
import django.contrib.auth.validators
import django.core.validators
import django.db.models.deletion
import django.db.models.functions.text
import django.utils.timezone
import gearroom.core.models.people
from decimal import Decimal
from django.conf import settings
from django.db import migrations, models

from gearroom.core.create_models import CreateModels


class Migration(migrations.Migration):

    replaces = [
        ('core', '0001_initial'),
        ('core', '0002_language_not_chosen'),
        ('core', '0003_room_rules'),
        ('core', '0004_people_merged'),
        ('core', '0005_accounts_guarded'),
        ('core', '0006_names_apart'),
        ('core', '0007_works_alone'),
        ('core', '0008_installation'),
        ('core', '0009_sign_ins_ended'),
        ('core', '0010_opening_pays_from'),
    ]

    initial = True

    dependencies = [
        ('auth', '0012_alter_user_first_name_max_length'),
    ]

    operations = [
        CreateModels(
            [
                migrations.CreateModel(
                    name='Room',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('name', models.CharField(max_length=80, unique=True)),
                        ('slug', models.SlugField(max_length=40, unique=True)),
                        ('time_zone', models.CharField(default='Europe/London', max_length=64, validators=[gearroom.core.models.people.valid_time_zone])),
                        ('how_to_return', models.CharField(blank=True, max_length=300)),
                        ('phone', models.CharField(blank=True, max_length=40)),
                        ('closing_time', models.TimeField(default=datetime.time(18, 0))),
                        ('expired_always_stops', models.BooleanField(default=False)),
                        ('guides_decide_important', models.BooleanField(default=False)),
                        ('sorting_nights', models.PositiveSmallIntegerField(default=1)),
                        ('opening_pays_from', models.DecimalField(decimal_places=2, default=Decimal('7'), max_digits=12, validators=[django.core.validators.MinValueValidator(0)])),
                    ],
                    options={
                        'ordering': ['name'],
                    },
                ),
                migrations.CreateModel(
                    name='User',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('password', models.CharField(max_length=128, verbose_name='password')),
                        ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                        ('is_superuser', models.BooleanField(default=False, help_text='Designates that this user has all permissions without explicitly assigning them.', verbose_name='superuser status')),
                        ('username', models.CharField(error_messages={'unique': 'A user with that username already exists.'}, help_text='Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.', max_length=150, unique=True, validators=[django.contrib.auth.validators.UnicodeUsernameValidator()], verbose_name='username')),
                        ('email', models.EmailField(blank=True, max_length=254, verbose_name='email address')),
                        ('is_staff', models.BooleanField(default=False, help_text='Designates whether the user can log into this admin site.', verbose_name='staff status')),
                        ('is_active', models.BooleanField(default=True, help_text='Designates whether this user should be treated as active. Unselect this instead of deleting accounts.', verbose_name='active')),
                        ('date_joined', models.DateTimeField(default=django.utils.timezone.now, verbose_name='date joined')),
                        ('groups', models.ManyToManyField(blank=True, help_text='The groups this user belongs to. A user will get all permissions granted to each of their groups.', related_name='user_set', related_query_name='user', to='auth.group', verbose_name='groups')),
                        ('user_permissions', models.ManyToManyField(blank=True, help_text='Specific permissions for this user.', related_name='user_set', related_query_name='user', to='auth.permission', verbose_name='user permissions')),
                        ('given_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='core.person')),
                    ],
                    options={
                        'verbose_name': 'user',
                        'verbose_name_plural': 'users',
                        'abstract': False,
                        'constraints': [models.UniqueConstraint(django.db.models.functions.text.Lower('username'), name='user_name_once')],
                    },
                    managers=[
                        ('objects', django.contrib.auth.models.UserManager()),
                    ],
                ),
                migrations.CreateModel(
                    name='KeptAnswer',
                    fields=[
                        ('key', models.UUIDField(primary_key=True, serialize=False)),
                        ('request_sha256', models.CharField(max_length=64)),
                        ('status', models.PositiveSmallIntegerField()),
                        ('body', models.TextField()),
                        ('created_at', models.DateTimeField()),
                        ('user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'constraints': [models.CheckConstraint(condition=models.Q(('status__gte', 200), ('status__lt', 500), models.Q(('status__in', [401, 403, 413, 429]), _negated=True)), name='kept_answer_status_kept')],
                    },
                ),
                migrations.CreateModel(
                    name='Person',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('name', models.CharField(max_length=120)),
                        ('phone', models.CharField(blank=True, max_length=40)),
                        ('email', models.EmailField(blank=True, max_length=254)),
                        ('language', models.CharField(blank=True, default='', max_length=10)),
                        ('left_on', models.DateField(blank=True, null=True)),
                        ('pin', models.CharField(blank=True, max_length=128)),
                        ('created_at', models.DateTimeField(auto_now_add=True)),
                        ('user', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='person', to=settings.AUTH_USER_MODEL)),
                        ('home_room', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='core.room')),
                        ('merged_into', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='merged', to='core.person')),
                        ('erased_at', models.DateTimeField(blank=True, null=True)),
                        ('shows_all', models.BooleanField(default=False)),
                    ],
                    options={
                        'ordering': ['name', 'id'],
                    },
                ),
                migrations.CreateModel(
                    name='Membership',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('role', models.CharField(choices=[('guide', 'guide'), ('instructor', 'instructor'), ('keeper', 'keeper'), ('adviser', 'adviser'), ('administrator', 'administrator'), ('integration', 'integration')], max_length=20)),
                        ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='memberships', to='core.person')),
                        ('room', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='memberships', to='core.room')),
                    ],
                    options={
                        'constraints': [models.UniqueConstraint(condition=models.Q(('room__isnull', False)), fields=('person', 'room', 'role'), name='membership_once_in_a_room'), models.UniqueConstraint(condition=models.Q(('room__isnull', True)), fields=('person', 'role'), name='membership_once_everywhere'), models.CheckConstraint(condition=models.Q(('role__in', ['guide', 'instructor', 'keeper', 'adviser', 'administrator', 'integration'])), name='membership_role_known')],
                    },
                ),
                migrations.CreateModel(
                    name='Token',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('name', models.CharField(max_length=80)),
                        ('prefix', models.CharField(max_length=12)),
                        ('sha256', models.CharField(max_length=64, unique=True)),
                        ('scopes', models.JSONField(default=list)),
                        ('created_at', models.DateTimeField()),
                        ('expires_at', models.DateTimeField(blank=True, null=True)),
                        ('revoked_at', models.DateTimeField(blank=True, null=True)),
                        ('last_used_at', models.DateTimeField(blank=True, null=True)),
                        ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tokens', to=settings.AUTH_USER_MODEL)),
                        ('made_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='core.person')),
                        ('made_with', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='made', to='core.token')),
                    ],
                    options={
                        'ordering': ['-created_at', '-id'],
                    },
                ),
                migrations.CreateModel(
                    name='Device',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('name', models.CharField(max_length=80)),
                        ('made_at', models.DateTimeField()),
                        ('ended_at', models.DateTimeField(blank=True, null=True)),
                        ('made_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='core.person')),
                        ('room', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='devices', to='core.room')),
                        ('user', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='device', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['-id'],
                    },
                ),
                migrations.CreateModel(
                    name='SignedIn',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('session_key', models.CharField(max_length=40, unique=True)),
                        ('on', models.CharField(max_length=10)),
                        ('address', models.CharField(blank=True, max_length=45)),
                        ('since', models.DateTimeField()),
                        ('seen_at', models.DateTimeField()),
                        ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='signed_in', to=settings.AUTH_USER_MODEL)),
                        ('ended_at', models.DateTimeField(blank=True, null=True)),
                    ],
                    options={
                        'ordering': ['-seen_at', '-id'],
                    },
                ),
                migrations.CreateModel(
                    name='PasswordReset',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('base', models.CharField(max_length=200)),
                        ('asked_at', models.DateTimeField()),
                        ('sent_at', models.DateTimeField(blank=True, null=True)),
                        ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='resets', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'indexes': [models.Index(condition=models.Q(('sent_at__isnull', True)), fields=['asked_at'], name='reset_waiting')],
                    },
                ),
                migrations.CreateModel(
                    name='TryCount',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('guard', models.CharField(max_length=20)),
                        ('who', models.CharField(max_length=32)),
                        ('until', models.BigIntegerField(db_index=True)),
                        ('used', models.PositiveIntegerField()),
                    ],
                    options={
                        'constraints': [models.UniqueConstraint(fields=('guard', 'who'), name='try_count_once')],
                    },
                ),
                migrations.CreateModel(
                    name='AccountChange',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('address', models.EmailField(blank=True, max_length=254)),
                        ('kind', models.CharField(choices=[('address', 'Address'), ('password', 'Password'), ('pin', 'Pin'), ('sign-in', 'Sign In')], max_length=10)),
                        ('at', models.DateTimeField()),
                        ('sent_at', models.DateTimeField(blank=True, null=True)),
                        ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='core.person')),
                        ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='core.person')),
                    ],
                    options={
                        'ordering': ['id'],
                        'indexes': [models.Index(condition=models.Q(('sent_at', None)), fields=['id'], name='account_change_not_sent')],
                    },
                ),
                migrations.CreateModel(
                    name='Redaction',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('key', models.UUIDField()),
                        ('at', models.DateTimeField()),
                        ('about', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='redactions', to='core.person')),
                        ('person', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='core.person')),
                    ],
                    options={
                        'ordering': ['id'],
                    },
                ),
                migrations.CreateModel(
                    name='PersonalText',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('text', models.CharField(max_length=500)),
                        ('person', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='texts', to='core.person')),
                    ],
                    options={
                        'indexes': [models.Index(fields=['text'], name='personal_text_by_words')],
                    },
                ),
                migrations.CreateModel(
                    name='RedactedRow',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('table', models.CharField(max_length=60)),
                        ('column', models.CharField(max_length=60)),
                        ('row', models.CharField(max_length=40)),
                        ('sha256', models.CharField(max_length=64)),
                        ('redaction', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='rows', to='core.redaction')),
                    ],
                    options={
                        'ordering': ['id'],
                        'indexes': [models.Index(fields=['table', 'column', 'row'], name='redacted_row_by_place')],
                    },
                ),
                migrations.CreateModel(
                    name='Installation',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('organisation', models.CharField(blank=True, max_length=80)),
                        ('time_zone', models.CharField(default='Europe/London', max_length=64, validators=[gearroom.core.models.people.valid_time_zone])),
                        ('language', models.CharField(blank=True, max_length=10)),
                        ('public_url', models.CharField(blank=True, max_length=200)),
                        ('reached_at', models.DateTimeField(blank=True, null=True)),
                        ('mail_from', models.CharField(blank=True, max_length=200)),
                        ('mail_host', models.CharField(blank=True, max_length=200)),
                        ('mail_port', models.PositiveIntegerField(default=587)),
                        ('mail_security', models.CharField(choices=[('tls', 'Tls'), ('starttls', 'Starttls'), ('none', 'None')], default='starttls', max_length=10)),
                        ('mail_user', models.CharField(blank=True, max_length=200)),
                        ('mail_password', models.TextField(blank=True)),
                        ('quiet_from', models.TimeField(blank=True, default=datetime.time(22, 0), null=True)),
                        ('quiet_until', models.TimeField(blank=True, default=datetime.time(7, 0), null=True)),
                    ],
                    options={
                        'constraints': [models.CheckConstraint(condition=models.Q(('id', 1)), name='installation_once'), models.CheckConstraint(condition=models.Q(models.Q(('quiet_from__isnull', True), ('quiet_until__isnull', True)), models.Q(('quiet_from__isnull', False), ('quiet_until__isnull', False)), _connector='OR'), name='installation_quiet_hours_whole')],
                    },
                ),
                migrations.CreateModel(
                    name='InstallationChange',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('at', models.DateTimeField()),
                        ('fields', models.JSONField()),
                        ('person', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='core.person')),
                    ],
                    options={
                        'ordering': ['id'],
                        'abstract': False,
                    },
                ),
            ]
        ),
    ]
