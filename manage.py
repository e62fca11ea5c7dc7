#!/usr/bin/env python3
"""Gearroom's command line: `manage.py help` lists the commands."""

import os
import sys

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "gearroom.settings")
    from gearroom.core.management.main import main

    main(sys.argv)
