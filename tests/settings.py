"""The program's own settings on a throwaway data folder, whatever the environment says.

The first process of a test session makes the session's folder and names it in the environment,
so that its xdist workers share it; the keeper (tests/keeper.py) deletes it at the end.
"""

import os
import tempfile

FOLDER = "GEARROOM_TEST_FOLDER"
OWN = ("DATABASE_URL", "CELERY_BROKER_URL", "EMAIL_URL", "SECRET_KEY")

if FOLDER not in os.environ:
    os.environ[FOLDER] = tempfile.mkdtemp(prefix="gearroom-tests-")
for _name in list(os.environ):
    if _name in OWN or (_name.startswith("GEARROOM_") and _name != FOLDER):
        del os.environ[_name]
os.environ["GEARROOM_DATA_DIR"] = os.path.join(os.environ[FOLDER], f"home-{os.getpid()}")

from gearroom.settings import *  # noqa: E402, F403  (reads the environment made above)

# Thousands of sign-ins: what a password hash costs is not what these tests are about.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
# A test's client makes all middleware anew: files are looked for when asked, not listed each time.
WHITENOISE_AUTOREFRESH = True
# Tests run at any hour; those about the night set their own.
QUIET_HOURS = ()
# Innermost, so that it knows the view.
MIDDLEWARE = [*MIDDLEWARE, "tests.declared_problems.declared_problems"]  # noqa: F405
