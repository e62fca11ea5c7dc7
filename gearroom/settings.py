"""All settings, read top to bottom. With no environment set everything works on one machine.

Environment: GEARROOM_DATA_DIR, DATABASE_URL, CELERY_BROKER_URL, EMAIL_URL, GEARROOM_PUBLIC_URL,
GEARROOM_ORGANISATION, GEARROOM_LANGUAGE, GEARROOM_ALLOWED_HOSTS, GEARROOM_INTERNAL_HOSTS,
GEARROOM_MAIL_FROM, GEARROOM_MAIL_TIMEOUT, GEARROOM_PROXIES, GEARROOM_QUIET_HOURS, SECRET_KEY.
"""

from datetime import time
from pathlib import Path
from typing import Any

import environ
from django.core.exceptions import ImproperlyConfigured
from django.core.management.utils import get_random_secret_key

from gearroom.core.rules.proxies import networks
from gearroom.core.setup.database import SQLITE, configuration
from gearroom.core.setup.environment import internal_hosts, public_url, secret_key
from gearroom.core.setup.hosts import AllowedHosts
from gearroom.core.setup.languages import compiled
from gearroom.core.setup.private_folder import (
    data_folder,
    database_files,
    make_private,
    write_once,
    writing,
)

env = environ.Env()

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = data_folder(Path(env.str("GEARROOM_DATA_DIR", default="") or BASE_DIR / "var").resolve())

DEBUG = False
with writing(DATA_DIR):
    SECRET_KEY = secret_key(
        env.str("SECRET_KEY", default="")
        or write_once(DATA_DIR / "secret_key", get_random_secret_key)
    )

# What is set here wins over the settings page (gearroom.core.models.installation.current).
# The address printed on labels and in mails, for example https://gear.example.org. Empty in both:
# previews only, real label sheets are refused.
PUBLIC_URL = public_url(env.str("GEARROOM_PUBLIC_URL", default=""))
# Whose gear it is, as labels and cards say it, for example Umberfell Outdoor School.
ORGANISATION = env.str("GEARROOM_ORGANISATION", default="")
ALLOWED_HOSTS = AllowedHosts(
    ["localhost", "127.0.0.1", "[::1]", *env.list("GEARROOM_ALLOWED_HOSTS", default=[])]
)
# Addresses and networks of the proxies in front, whose X-Forwarded-For says who asks; none else's.
try:
    PROXIES = networks(env.list("GEARROOM_PROXIES", default=[]))
except ValueError as error:
    raise ImproperlyConfigured(
        f"GEARROOM_PROXIES: {error}. Enter addresses and networks, such as 10.0.0.7,10.1.0.0/24."
    ) from error
# What webhooks may go to and calendars be fetched from although it is no public address.
INTERNAL_HOSTS = internal_hosts(env.list("GEARROOM_INTERNAL_HOSTS", default=[]))
CSRF_TRUSTED_ORIGINS = []
if PUBLIC_URL:
    ALLOWED_HOSTS.append(PUBLIC_URL.split("://", 1)[-1].split("/")[0].rsplit(":", 1)[0])
    CSRF_TRUSTED_ORIGINS.append(PUBLIC_URL)

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "django_filters",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "django_htmx",
    "gearroom.core",
    "kits",
    "labels",
    "gearroom.site",
]

MIDDLEWARE = [
    "gearroom.site.http.middleware.ClientAddress",
    "gearroom.site.http.middleware.Headers",
    "gearroom.site.http.middleware.BoundedBody",
    "django.middleware.security.SecurityMiddleware",
    "gearroom.site.http.middleware.CompressedStatic",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "gearroom.site.http.middleware.Sessions",
    "gearroom.site.http.middleware.Languages",
    "django.middleware.common.CommonMiddleware",
    "gearroom.site.http.middleware.PublicOrigin",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "gearroom.site.http.middleware.NoNul",
    "gearroom.site.http.middleware.PlainText",
    "gearroom.site.http.middleware.DatabaseFailures",
]

ROOT_URLCONF = "gearroom.urls"
WSGI_APPLICATION = "gearroom.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "OPTIONS": {
            "loaders": [
                ("django.template.loaders.cached.Loader", ["gearroom.site.template_loader.Loader"])
            ],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "gearroom.site.web.page.shell.shell_facts",
            ],
        },
    }
]

# ------------------------------------------------------------------------------------ database
DATABASES = {
    "default": configuration(
        env.str("DATABASE_URL", default="") or f"sqlite:///{DATA_DIR / 'gearroom.sqlite3'}"
    )
}
if DATABASES["default"]["ENGINE"] == SQLITE:  # it may lie elsewhere
    for _file in database_files(DATABASES["default"]["NAME"]):
        make_private(_file)
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# --------------------------------------------------------------------------------------- tasks
CELERY_BROKER_URL = env.str("CELERY_BROKER_URL", default="filesystem://localhost/")
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TIMEZONE = "UTC"
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_WORKER_ENABLE_REMOTE_CONTROL = False
# In memory: an entry is an interval of seconds after which a sweep asks the database what is due,
# so there is nothing to remember, and no file that a power cut could tear.
CELERY_BEAT_SCHEDULER = "celery.beat:Scheduler"
CELERY_BEAT_SCHEDULE = {
    name: {
        "task": f"kits.tasks.notices.{name}",
        "schedule": seconds,
        "options": {"expires": seconds},
    }
    for name, seconds in (("look", 60), ("send", 30), ("look_at_stock", 600))
}
CELERY_BEAT_SCHEDULE["announce"] = {
    "task": "kits.tasks.events.announce",
    "schedule": 30,
    "options": {"expires": 30},
}
CELERY_BEAT_SCHEDULE["send_webhooks"] = {
    "task": "kits.tasks.webhooks.send",
    "schedule": 30,
    "options": {"expires": 30},
}
CELERY_BEAT_SCHEDULE["read_calendars"] = {
    "task": "kits.tasks.calendars.read",
    "schedule": 30,
    "options": {"expires": 30},
}
CELERY_BEAT_SCHEDULE["send_resets"] = {
    "task": "gearroom.site.tasks.sign_ins.send_resets",
    "schedule": 15,
    "options": {"expires": 15},
}
if CELERY_BROKER_URL.startswith("filesystem:"):
    _queue = DATA_DIR / "queue"
    with writing(DATA_DIR):
        for _folder in ("messages", "control"):
            (_queue / _folder).mkdir(parents=True, exist_ok=True)
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "data_folder_in": str(_queue / "messages"),
        "data_folder_out": str(_queue / "messages"),
        "control_folder": str(_queue / "control"),
    }

# ---------------------------------------------------------------------------------------- mail
EMAIL_OUTBOX_DIR = DATA_DIR / "outbox"
if env.str("EMAIL_URL", default=""):
    vars().update(env.email("EMAIL_URL"))
else:
    EMAIL_BACKEND = "gearroom.core.services.installation.mail_server.backend"
# Seconds that a mail server may take for one answer; a claim on a notice outlasts fifteen of them.
EMAIL_TIMEOUT = env.float("GEARROOM_MAIL_TIMEOUT", default=20)
# From when until when, by the clock of a person's home room, nothing that can wait is sent to those
# who chose no quiet hours themselves; empty: none; None: as the settings page has it.
# `env.str` takes what is empty for what is not set.
_quiet = env.ENVIRON.get("GEARROOM_QUIET_HOURS")
QUIET_HOURS: tuple[time, ...] | None = (
    None if _quiet is None else tuple(time.fromisoformat(end) for end in _quiet.split("-") if end)
)
if QUIET_HOURS is not None and len(QUIET_HOURS) not in (0, 2):
    raise ImproperlyConfigured(
        "GEARROOM_QUIET_HOURS must be two times, such as 22:00-07:00, or empty."
    )
MAIL_FROM = env.str("GEARROOM_MAIL_FROM", default="")
DEFAULT_FROM_EMAIL = MAIL_FROM or "Gearroom <gearroom@localhost>"

# -------------------------------------------------------------------------------- people, pages
AUTH_USER_MODEL = "core.User"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "/sign-in/"
LOGIN_REDIRECT_URL = "/"
# Seconds that the link for a new password works.
PASSWORD_RESET_TIMEOUT = 3600
CSRF_FAILURE_VIEW = "gearroom.site.http.errors.form_too_old"

LANGUAGES = [("en-gb", "English"), ("de", "Deutsch")]
# The organisation's own: of mails to people who chose none, and of pages where no browser asks.
LANGUAGE = env.str("GEARROOM_LANGUAGE", default="")
LANGUAGE_CODE = LANGUAGE or "en-gb"
if LANGUAGE_CODE not in dict(LANGUAGES):
    raise ImproperlyConfigured(
        f"GEARROOM_LANGUAGE is {LANGUAGE_CODE}: set it to one of {', '.join(dict(LANGUAGES))}."
    )
with writing(DATA_DIR):
    LOCALE_PATHS = [compiled(BASE_DIR / "locale", DATA_DIR / "locale")]
TIME_ZONE = "UTC"

STATIC_URL = "/static/"
# What reads labels in the browser, put there by npm; without it frames go to the server.
STATICFILES_DIRS = [
    ("reading", folder)
    for folder in (
        BASE_DIR / "node_modules" / "barcode-detector" / "dist" / "es",
        BASE_DIR / "node_modules" / "zxing-wasm" / "dist" / "reader",
    )
    if folder.is_dir()
]
WHITENOISE_USE_FINDERS = True

# Headers and cookies are else as Django has them: nosniff, DENY, same-origin, HttpOnly and Lax.
SESSION_ENGINE = "gearroom.core.setup.sessions"
# Over TLS no cookie goes without it. `serve --lan` says so by GEARROOM_TLS; of its own certificate
# a browser remembers that for a week only, so that nobody who gives it up is locked out for long.
_PUBLIC_TLS = PUBLIC_URL.startswith("https://")
_TLS = _PUBLIC_TLS or env.bool("GEARROOM_TLS", default=False)
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = _TLS
SECURE_HSTS_SECONDS = (365 if _PUBLIC_TLS else 7) * 24 * 3600 if _TLS else 0
SILENCED_SYSTEM_CHECKS = [
    # The names below our host are others': whether they have TLS is not ours to promise.
    "security.W005",
    "security.W021",
    # We listen on this machine alone, or with TLS; the proxy before us sends people on to TLS. Were
    # it to forget X-Forwarded-Proto, a redirect of ours would go round for ever.
    "security.W008",
]

# --------------------------------------------------------------------------------- API, reading
DATA_UPLOAD_MAX_MEMORY_SIZE = 26 * 1024 * 1024
# A kit list is edited as one form with seven fields a line, and a list may have 400 lines.
DATA_UPLOAD_MAX_NUMBER_FIELDS = 4000
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "gearroom.core.api.requests.authentication.TokenAuthentication",
        "gearroom.core.api.requests.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["gearroom.core.api.requests.parsing.StrictJSONParser"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_PAGINATION_CLASS": "gearroom.core.api.requests.paging.CursorPages",
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "DEFAULT_THROTTLE_CLASSES": ["gearroom.core.api.requests.throttling.PerActor"],
    "DEFAULT_THROTTLE_RATES": {
        "actor": "1200/min",
        # Counted in the database, by gearroom.core.services.accounts.attempts: one name from one
        # address or one known browser, one address, one name from all browsers that it is not known
        # in.
        "sign-in": "10/min",
        "sign-in-address": "30/min",
        "sign-in-name": "60/hour",
        "password": "10/min",
        "pin": "8/hour",
        "reset": "5/hour",
        "reset-address": "20/hour",
        "link": "20/hour",
        "claim": "20/hour",
        "letter": "20/hour",
    },
    "EXCEPTION_HANDLER": "gearroom.core.api.problems.handle",
    "UNAUTHENTICATED_USER": None,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
    "PAGE_SIZE": 50,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Gearroom",
    "DESCRIPTION": (
        "First aid kits of an outdoor school: labels, scans, stock by batch and expiry date. "
        "It keeps track of stock and does the arithmetic; it does not give medical advice. "
        "As long as the first number of the version stays, programs can stay as they are: only "
        "what they may send, fields of answers and operations are added."
    ),
    "VERSION": "1.1.0",
    "SERVERS": [{"url": "/", "description": "The server that this document comes from"}],
    "OAS_VERSION": "3.1.0",
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,  # the values say as much; what they mean is written
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
    "SCHEMA_PATH_PREFIX": r"/api/v1",
    # None of the library's: enums stay where they are used, under no made-up names.
    "POSTPROCESSING_HOOKS": [
        "kits.api.events.payloads.add",
        "gearroom.core.api.openapi.glossary.describe",
        "gearroom.core.api.openapi.in_common.share",
    ],
}

READING: dict[str, Any] = {
    "max_bytes": 25 * 1024 * 1024,
    "max_pixels": 60_000_000,
    "decode_seconds": 5.0,
    "ladder_seconds": 1.0,
    "max_resident_bytes": 700 * 1024 * 1024,
    "processes": 1,
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {
            "()": "gearroom.core.setup.logs.Masked",  # secret addresses are in no log
            "fmt": "%(asctime)s %(levelname)s %(name)s: %(message)s",
        }
    },
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["stderr"], "level": "WARNING"},
}
