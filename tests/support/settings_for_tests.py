"""Django's settings for the tests: the real ones, with a data folder that is thrown away.

pytest-django reads the settings before any conftest.py, and reading them makes a key in TROD_HOME. So the
folder has to be put in place here; a person's own data folder is never touched by a test.
"""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile

_folder = tempfile.mkdtemp(prefix="trod-tests-")
atexit.register(shutil.rmtree, _folder, ignore_errors=True)
os.environ["TROD_HOME"] = _folder
os.environ.pop("TROD_DATABASE_URL", None)  # the tests of PostgreSQL take TROD_TEST_POSTGRES_URL
if os.environ.get("TROD_TEST_ALL_ON_POSTGRES") == "1":  # every test that needs rows, on the server instead
    os.environ["TROD_DATABASE_URL"] = os.environ["TROD_TEST_POSTGRES_URL"]
# Processes that a test starts, and the workers of pytest-xdist, read the plain settings in this folder.
os.environ["DJANGO_SETTINGS_MODULE"] = "trod.web.settings"

from trod.web.settings import *  # noqa: E402, F403
