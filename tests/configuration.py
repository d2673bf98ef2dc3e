"""Settings for the tests: the registry's own in trial mode, without slow or outside parts.

Everything a test writes goes to a folder of its own that vanishes with the
process. The database is a file there, not memory, so that threads meet the
same locks as on a real site.
"""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

_folder = Path(tempfile.mkdtemp(prefix="soundline-tests-"))
atexit.register(shutil.rmtree, _folder, ignore_errors=True)

os.environ["SOUNDLINE_MODE"] = "demo"
os.environ["SOUNDLINE_VAR"] = str(_folder)
os.environ["SOUNDLINE_TIME_ZONE"] = "Europe/Vienna"
os.environ.setdefault("SOUNDLINE_SECRET_KEY", "only-for-tests-" + "0" * 50)

from registry.settings import *  # noqa: E402, F403
from registry.settings import DATABASES, STATIC_ROOT, STORAGES  # noqa: E402

STATIC_ROOT.mkdir()
STORAGES["staticfiles"]["BACKEND"] = "django.contrib.staticfiles.storage.StaticFilesStorage"

if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["TEST"] = {"NAME": str(_folder / "test.sqlite3")}
else:
    # A connection kept open would hold the test database when it is dropped.
    DATABASES["default"]["CONN_MAX_AGE"] = 0

# What was approved is shown at once, as if a minute had passed; tests of the minute set it anew.
PUBLIC_STATE_SECONDS = 0

ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
# A task is done on the spot, so that a test sees what it leads to.
TASKS = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
