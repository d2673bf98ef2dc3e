"""Settings of the registry, all of them.

Every choice a club can make is an environment variable (`NAME`, or `NAME_FILE`
for a file that holds the value). `SOUNDLINE_MODE` decides what may be left out:

- `production` (the default): secrets, host names and addresses are required;
- `demo`: a trial on this computer over plain http, with a key of its own
  written to `var/`, and mail kept in files;
- `development`: as `demo`, with Django's error pages.

Nothing insecure is switched on by leaving a variable out in `production`.
"""

import secrets
from pathlib import Path
from typing import Any

import dj_database_url
from csp.constants import NONE, SELF
from django.utils.translation import gettext_lazy as _

from registry.environment import Environment

env = Environment()

BASE_DIR = Path(__file__).resolve().parent.parent

MODE = env.choice(
    "SOUNDLINE_MODE", "production", among=("production", "demo", "development")
)
IS_PRODUCTION = MODE == "production"
DEBUG = MODE == "development"

# Everything the running registry writes lives below this folder.
VAR_DIR = env.path("SOUNDLINE_VAR", BASE_DIR / "var")


def _local_secret_key() -> str:
    """Return this computer's own key for trials, made on first use and never in the source."""
    file = VAR_DIR / f"{MODE}-secret-key"
    if not file.exists():
        VAR_DIR.mkdir(parents=True, exist_ok=True)
        file.touch(mode=0o600)
        file.write_text(secrets.token_urlsafe(64), encoding="ascii")
    return file.read_text(encoding="ascii")


SECRET_KEY = (
    env.text("SOUNDLINE_SECRET_KEY")
    if IS_PRODUCTION
    else env.text("SOUNDLINE_SECRET_KEY", None) or _local_secret_key()
)
SECRET_KEY_FALLBACKS = env.words("SOUNDLINE_SECRET_KEY_FALLBACKS")

# The club
CLUB_NAME = (
    env.text("SOUNDLINE_CLUB_NAME")
    if IS_PRODUCTION
    else env.text("SOUNDLINE_CLUB_NAME", "Tarn Valley Dog Club")
)
# The public address, without a trailing slash: printed on certificates and in QR codes.
SITE_URL = (
    env.text("SOUNDLINE_SITE_URL")
    if IS_PRODUCTION
    else env.text("SOUNDLINE_SITE_URL", "http://127.0.0.1:8000")
).rstrip("/")
ALLOWED_HOSTS = env.words(
    "SOUNDLINE_HOSTS", () if IS_PRODUCTION else ("localhost", "127.0.0.1", "[::1]")
)

# Applications
INSTALLED_APPS = [
    "registry.apps.RegistryConfig",
    "api.apps.ApiConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "csp",
    "rest_framework",
    "drf_spectacular",
    "django_tasks",
    "django_tasks_db",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]

ROOT_URLCONF = "registry.urls"
WSGI_APPLICATION = "registry.wsgi.application"

_LOADERS = ["django.template.loaders.filesystem.Loader"]
TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "OPTIONS": {
            "loaders": (
                _LOADERS if DEBUG else [("django.template.loaders.cached.Loader", _LOADERS)]
            ),
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    }
]

# Database. SQLite is enough for a club; DATABASE_URL names a PostgreSQL server.
_SQLITE_OPTIONS = {
    # A writer takes the lock when its transaction begins, so that two desks never
    # meet in the middle; hence no transaction around whole requests (ATOMIC_REQUESTS).
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    # FULL: what was confirmed to a clinic survives a power cut. recursive_triggers:
    # without it INSERT OR REPLACE slips past the ledger's append-only triggers.
    "init_command": (
        "PRAGMA journal_mode=WAL;"
        "PRAGMA synchronous=FULL;"
        "PRAGMA foreign_keys=ON;"
        "PRAGMA recursive_triggers=ON;"
    ),
}
# Binding parameters on the server lets PostgreSQL keep prepared plans.
_POSTGRESQL_OPTIONS = {"server_side_binding": True, "prepare_threshold": 0}


def _database() -> dict[str, Any]:
    """Return the one database's settings, from DATABASE_URL or the SQLite file below var/."""
    url = env.text("DATABASE_URL", None)
    if url is None:
        VAR_DIR.mkdir(parents=True, exist_ok=True)
        url = f"sqlite:///{VAR_DIR / 'soundline.sqlite3'}"
    database: dict[str, Any] = dict(dj_database_url.parse(url))
    extra = database.setdefault("OPTIONS", {})
    if database["ENGINE"] == "django.db.backends.sqlite3":
        extra.update(_SQLITE_OPTIONS)
    else:
        extra.update(_POSTGRESQL_OPTIONS)
        database["CONN_MAX_AGE"] = None
        database["CONN_HEALTH_CHECKS"] = True
    return database


DATABASES = {"default": _database()}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# People and passwords
AUTH_USER_MODEL = "registry.User"
LOGIN_URL = "/sign-in/"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "/"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
_PASSWORD = "django.contrib.auth.password_validation"
AUTH_PASSWORD_VALIDATORS: list[dict[str, Any]] = [
    {"NAME": f"{_PASSWORD}.UserAttributeSimilarityValidator"},
    {"NAME": f"{_PASSWORD}.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": f"{_PASSWORD}.CommonPasswordValidator"},
    {"NAME": f"{_PASSWORD}.NumericPasswordValidator"},
]

# Language and time
LANGUAGE_CODE = "en"
LANGUAGES = [("en", _("English"))]
LOCALE_PATHS = [BASE_DIR / "locale"]
USE_I18N = True
USE_TZ = True
TIME_ZONE = env.text("SOUNDLINE_TIME_ZONE", "UTC")
FORMAT_MODULE_PATH = ["registry.formats"]

# Files
STATIC_URL = "/static/"
STATIC_ROOT = env.path("SOUNDLINE_STATIC_ROOT", VAR_DIR / "static")
EVIDENCE_ROOT = env.path("SOUNDLINE_EVIDENCE_ROOT", VAR_DIR / "evidence")
EVIDENCE_MAX_BYTES = env.whole(
    "SOUNDLINE_EVIDENCE_MAX_MB", 50, least=1, most=2_000
) * 1024 * 1024

# Programming interface
REST_FRAMEWORK: dict[str, Any] = {
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
}
SPECTACULAR_SETTINGS: dict[str, Any] = {
    "TITLE": "Soundline",
    "VERSION": "1",
    "OAS_VERSION": "3.1.1",
}

TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}

# What a browser may load and do on our pages
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
