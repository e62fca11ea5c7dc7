"""The WSGI application that gunicorn serves."""

import gc
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "gearroom.settings")
application = get_wsgi_application()

# What is loaded by now stays: collecting garbage need not walk it again in each request, and
# workers forked from here share its pages.
gc.collect()
gc.freeze()
