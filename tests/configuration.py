"""Settings for the tests: the registry's own in trial mode, without slow or outside parts."""

import os

os.environ["SOUNDLINE_MODE"] = "demo"
os.environ.setdefault("SOUNDLINE_SECRET_KEY", "only-for-tests-" + "0" * 50)

from registry.settings import *  # noqa: E402, F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
