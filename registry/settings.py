"""Settings of the registry, all of them.

Every choice a club can make is an environment variable (`NAME`, or `NAME_FILE`
for a file that holds the value). `SOUNDLINE_MODE` decides what may be left out:

- `production` (the default): secrets, host names and addresses are required;
- `demo`: a trial on this computer over plain http, with a key of its own
  written to `var/`, and mail kept in files;
- `development`: as `demo`, with Django's error pages.

Nothing insecure is switched on by leaving a variable out in `production`.
"""

import base64
import os
import secrets
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import available_timezones

import dj_database_url
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _

from registry.environment import Environment

# Linear algebra threads of one worker fight those of the next; one each is fastest.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

env = Environment()

BASE_DIR = Path(__file__).resolve().parent.parent

MODE = env.choice("SOUNDLINE_MODE", "production", among=("production", "demo", "development"))
IS_PRODUCTION = MODE == "production"
DEBUG = MODE == "development"

# Everything the running registry writes lives below this folder.
VAR_DIR = env.path("SOUNDLINE_VAR", BASE_DIR / "var")


def _required(name: str, trial: str) -> str:
    """Return a text that production must be given; trials fall back on `trial`."""
    return env.text(name) if IS_PRODUCTION else env.text(name, trial)


# --- Secrets -----------------------------------------------------------------


def _trial_secret_key() -> str:
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
    else env.optional_text("SOUNDLINE_SECRET_KEY") or _trial_secret_key()
)
# Former keys, so that links in mails already sent survive a change of the key.
SECRET_KEY_FALLBACKS = env.words("SOUNDLINE_SECRET_KEY_FALLBACKS")

# --- The club ----------------------------------------------------------------

CLUB_NAME = _required("SOUNDLINE_CLUB_NAME", "Tarn Valley Dog Club")
# The public address, without a trailing slash: printed on certificates and in QR codes.
SITE_URL = _required("SOUNDLINE_SITE_URL", "http://127.0.0.1:8000").rstrip("/")
# Where a reader's question goes; shown in the foot of every page.
CONTACT_EMAIL = _required("SOUNDLINE_CONTACT_EMAIL", "office@soundline.invalid")
# Where somebody reports a hole: an address of mail, or of a page. Stands in security.txt.
SECURITY_CONTACT = env.text("SOUNDLINE_SECURITY_CONTACT", CONTACT_EMAIL)
ALLOWED_HOSTS = (
    env.words("SOUNDLINE_HOSTS")
    if IS_PRODUCTION
    else env.words("SOUNDLINE_HOSTS", ("localhost", "127.0.0.1", "[::1]"))
)

# --- The public log, and certificates that prove themselves ------------------


def _seed(name: str, kind: str) -> str:
    """Return the seed of a signing key, 32 random bytes in base64; trials make one on first use."""
    if IS_PRODUCTION:
        return env.text(name)
    given = env.optional_text(name)
    if given is not None:
        return given
    file = VAR_DIR / f"{MODE}-{kind}-key"
    if not file.exists():
        VAR_DIR.mkdir(parents=True, exist_ok=True)
        file.touch(mode=0o600)
        file.write_text(base64.b64encode(secrets.token_bytes(32)).decode(), encoding="ascii")
    return file.read_text(encoding="ascii")


# The log's name in its checkpoints. A change of it is a new log to everybody who kept one.
LOG_ORIGIN = env.text("SOUNDLINE_LOG_ORIGIN", f"{urlsplit(SITE_URL).netloc}/log")
# The Ed25519 key that signs checkpoints.
LOG_KEY = _seed("SOUNDLINE_LOG_KEY", "log")
# Verifier keys of former seeds, so that checkpoints signed before a change still open.
LOG_FORMER_KEYS = env.words("SOUNDLINE_LOG_FORMER_KEYS")
# Who gets each day's checkpoint by mail, so that nobody has to take the server's word.
LOG_OFFICERS = env.words("SOUNDLINE_LOG_OFFICERS")
# The Ed25519 key that signs certificates, and the public keys (Multikey) of those before it.
ISSUER_KEY = _seed("SOUNDLINE_ISSUER_KEY", "issuer")
ISSUER_FORMER_KEYS = env.words("SOUNDLINE_ISSUER_FORMER_KEYS")

# --- Applications ------------------------------------------------------------

INSTALLED_APPS = [
    "registry.apps.RegistryConfig",
    "api.apps.ApiConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "csp",
    "rest_framework",
    "drf_spectacular",
    "django_tasks",
    "django_tasks_db",
]

MIDDLEWARE = [
    "registry.middleware.RequestIdMiddleware",
    "registry.middleware.BrowserLimitsMiddleware",
    "registry.middleware.RefusalLogMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "registry.middleware.UnsafeRequestMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "registry.middleware.SessionMiddleware",
    # It reads the browser's wish and sets no cookie, so buyers' pages stay free of them.
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    # Deny by default: a public view opts out with login_not_required.
    "registry.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "registry.web.account.idle.IdleMiddleware",
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
                "registry.web.context.site_context",
            ],
        },
    }
]

# --- Database ----------------------------------------------------------------

# SQLite is enough for a club; DATABASE_URL names a PostgreSQL server for more.
_SQLITE_OPTIONS = {
    # A writer takes the lock when its transaction begins, so that two desks never
    # meet in the middle. Every atomic block queues for it: hence no transaction
    # around whole requests (ATOMIC_REQUESTS).
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
# Binding parameters on the server lets PostgreSQL keep prepared plans. A statement is
# prepared at its sixth use, not its first: migrations send several commands in one.
# A host that is silent must not hold a request, or the probe of /healthz, for minutes.
_POSTGRESQL_OPTIONS = {"server_side_binding": True, "prepare_threshold": 5, "connect_timeout": 5}


def _database() -> dict[str, Any]:
    """Return the one database's settings, from DATABASE_URL or the SQLite file below var/."""
    url = env.optional_text("DATABASE_URL")
    if url is None:
        VAR_DIR.mkdir(parents=True, exist_ok=True)
        url = f"sqlite:///{VAR_DIR / 'soundline.sqlite3'}"
    database: dict[str, Any] = dict(dj_database_url.parse(url))
    options = database.setdefault("OPTIONS", {})
    if database["ENGINE"] == "django.db.backends.sqlite3":
        options.update(_SQLITE_OPTIONS)
        # Opening the file and setting it up costs more than a page's queries.
        database["CONN_MAX_AGE"] = None
    elif database["ENGINE"] == "django.db.backends.postgresql":
        options.update(_POSTGRESQL_OPTIONS)
        database["CONN_MAX_AGE"] = None
        database["CONN_HEALTH_CHECKS"] = True
    else:
        raise ImproperlyConfigured("DATABASE_URL must name a sqlite or a postgres database.")
    return database


DATABASES = {"default": _database()}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# Counters of throttles must be seen by every worker, so they live in the database
# (`manage.py migrate` makes the table).
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.db.DatabaseCache",
        "LOCATION": "shared_cache",
        # A flood of addresses must not push out the counters of one account.
        "OPTIONS": {"MAX_ENTRIES": 200_000},
    },
}

# --- Background tasks --------------------------------------------------------

# A task is a row, written in the transaction of the change that asks for it; `manage.py work`
# does what waits.
TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
# How often the worker looks for breeds whose results or pedigree have changed since their last
# breeding run, and asks for a new one.
BREEDING_EVERY_MINUTES = env.whole("SOUNDLINE_BREEDING_EVERY_MINUTES", 15, least=1, most=10_080)

# --- People, passwords, sessions ---------------------------------------------

AUTH_USER_MODEL = "registry.User"
LOGIN_URL = "/sign-in/"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "/"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
_VALIDATION = "django.contrib.auth.password_validation"
AUTH_PASSWORD_VALIDATORS: list[dict[str, Any]] = [
    {"NAME": f"{_VALIDATION}.UserAttributeSimilarityValidator"},
    # NIST SP 800-63B-4: 15 signs where a password is all there is; no rules of composition.
    {"NAME": f"{_VALIDATION}.MinimumLengthValidator", "OPTIONS": {"min_length": 15}},
    {"NAME": f"{_VALIDATION}.CommonPasswordValidator"},
    {"NAME": "registry.passwords.EasilyGuessedValidator"},
]
# A link in a mail that lets a person choose a password.
PASSWORD_RESET_TIMEOUT = 48 * 60 * 60
# A session ends after this long in any case; when it was left alone for IDLE_SECONDS its person is
# asked who they are, and goes on where they were.
SESSION_COOKIE_AGE = 12 * 60 * 60
IDLE_SECONDS = 60 * env.whole("SOUNDLINE_IDLE_MINUTES", 30, least=1, most=720)
ACCOUNT_ADAPTER = "registry.web.account.adapters.AccountAdapter"
ACCOUNT_LOGIN_METHODS = {"username"}
ACCOUNT_SIGNUP_FIELDS = ["username*", "password1*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_SESSION_REMEMBER = True
# How long a proof of who one is holds, for what asks for a fresh one.
ACCOUNT_REAUTHENTICATION_TIMEOUT = 15 * 60
ACCOUNT_RATE_LIMITS = {
    "login": "60/m/ip",
    # By login and by address. The owner of an account under attack gets past in a browser they have
    # used before (its tries are counted apart), by a passkey, or by the link of "Forgotten
    # password", which clears the counter. NIST allows 100 failures in a row.
    "login_failed": "30/m/ip,5/5m/key,90/30d/key",
    "reauthenticate": "10/m/user",
    "reset_password": "20/h/ip,3/h/key",
}
MFA_ADAPTER = "registry.web.account.adapters.SecondStepAdapter"
MFA_SUPPORTED_TYPES = ["totp", "webauthn", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_WEBAUTHN_USER_VERIFICATION = "required"
# A trial is served over plain http.
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = not IS_PRODUCTION
# A telephone's clock may be one step of 30 seconds off (RFC 6238, section 5.2).
MFA_TOTP_TOLERANCE = 1
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"

# --- Language and time -------------------------------------------------------

LANGUAGE_CODE = "en"
LANGUAGES = [("en", _("English"))]
LOCALE_PATHS = [BASE_DIR / "locale"]
USE_I18N = True
FORMAT_MODULE_PATH = ["registry.formats"]
USE_TZ = True
# The club's own zone: pages and papers show it, the database keeps UTC.
TIME_ZONE = env.text("SOUNDLINE_TIME_ZONE", "UTC")
if TIME_ZONE not in available_timezones():
    raise ImproperlyConfigured(f"SOUNDLINE_TIME_ZONE: there is no zone {TIME_ZONE!r}.")

# --- Files -------------------------------------------------------------------

STATIC_URL = "/static/"
STATIC_ROOT = env.path("SOUNDLINE_STATIC_ROOT", VAR_DIR / "static")
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "registry.plotly_files.PlotlyFinder",
]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": (
            "django.contrib.staticfiles.storage.StaticFilesStorage"
            if DEBUG
            else "whitenoise.storage.CompressedManifestStaticFilesStorage"
        )
    },
}
WHITENOISE_KEEP_ONLY_HASHED_FILES = True
WHITENOISE_ALLOW_ALL_ORIGINS = False

# At most one new state of a breed's counts of a trait is shown to the public in so many seconds.
PUBLIC_STATE_SECONDS = 60

# How many sections of result pages a process remembers by their content; 0 remembers none.
SECTIONS_KEPT = env.whole("SOUNDLINE_SECTIONS_KEPT", 1_000, least=0, most=100_000)

# Evidence lies outside everything a web server hands out.
EVIDENCE_ROOT = env.path("SOUNDLINE_EVIDENCE_ROOT", VAR_DIR / "evidence")
EVIDENCE_MAX_BYTES = 1024 * 1024 * env.whole("SOUNDLINE_EVIDENCE_MAX_MB", 50, least=1, most=2_000)
# ClamAV's daemon, as HOST:PORT or the path of its socket; without one, files are not scanned.
SCANNER = env.text("SOUNDLINE_SCANNER", "")
DATA_UPLOAD_MAX_NUMBER_FILES = 20
DATA_UPLOAD_MAX_NUMBER_FIELDS = 500

# Where `manage.py work` puts a backup each day, and how many it keeps there; without a folder it
# makes none.
BACKUP_FOLDER = (
    env.path("SOUNDLINE_BACKUP_FOLDER", VAR_DIR)
    if env.optional_text("SOUNDLINE_BACKUP_FOLDER")
    else None
)
BACKUPS_KEPT = env.whole("SOUNDLINE_BACKUPS_KEPT", 14, least=1, most=10_000)
# With this key, 32 random bytes in base64, backups are encrypted. Who loses it loses them.
BACKUP_KEY = env.text("SOUNDLINE_BACKUP_KEY", "")
# Where each backup is copied to: a folder of another machine that is mounted on this one.
BACKUP_COPY_FOLDER = (
    env.path("SOUNDLINE_BACKUP_COPY_FOLDER", VAR_DIR)
    if env.optional_text("SOUNDLINE_BACKUP_COPY_FOLDER")
    else None
)

# --- Mail --------------------------------------------------------------------

DEFAULT_FROM_EMAIL = SERVER_EMAIL = _required("SOUNDLINE_MAIL_FROM", "registry@soundline.invalid")
if IS_PRODUCTION:
    EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    EMAIL_HOST = env.text("SOUNDLINE_SMTP_HOST")
    EMAIL_PORT = env.whole("SOUNDLINE_SMTP_PORT", 587, least=1, most=65_535)
    EMAIL_HOST_USER = env.text("SOUNDLINE_SMTP_USER", "")
    EMAIL_HOST_PASSWORD = env.text("SOUNDLINE_SMTP_PASSWORD", "")
    _security = env.choice("SOUNDLINE_SMTP_SECURITY", "starttls", among=("starttls", "tls", "none"))
    EMAIL_USE_TLS = _security == "starttls"
    EMAIL_USE_SSL = _security == "tls"
    EMAIL_TIMEOUT = 20
else:
    EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    EMAIL_FILE_PATH = VAR_DIR / "mail"

# --- Transport and browser ---------------------------------------------------

# Only a proxy that overwrites X-Forwarded-Proto and appends to X-Forwarded-For may
# be believed, so believing it is a choice.
TRUST_PROXY = env.flag("SOUNDLINE_TRUST_PROXY", default=False)
ALLAUTH_TRUSTED_PROXY_COUNT = 1 if TRUST_PROXY else 0
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if TRUST_PROXY else None
SECURE_SSL_REDIRECT = env.flag("SOUNDLINE_SSL_REDIRECT", default=IS_PRODUCTION)
# Container platforms probe over plain http from inside; programs are refused, not redirected.
SECURE_REDIRECT_EXEMPT = [r"^healthz$", r"^api/"]
SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60 if IS_PRODUCTION else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = IS_PRODUCTION
# Browsers' preload lists are hard to leave again; that is the club's decision, made
# outside this program, so the deployment check that asks for it is answered here.
SECURE_HSTS_PRELOAD = env.flag("SOUNDLINE_HSTS_PRELOAD", default=False)
SILENCED_SYSTEM_CHECKS = ["security.W021"]

SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = IS_PRODUCTION
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True
# Lax, so that a link in a mail finds the reader still signed in.
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
# The prefix makes browsers refuse a cookie planted by another host or without TLS.
_prefix = "__Host-" if IS_PRODUCTION else ""
SESSION_COOKIE_NAME = f"{_prefix}session"
CSRF_COOKIE_NAME = f"{_prefix}csrf"
DEVICE_COOKIE_NAME = f"{_prefix}device"

X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
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

# --- Public pages -------------------------------------------------------------

# What searches, computes or guesses is counted for each network, by each worker its share.
WORKERS = env.whole("SOUNDLINE_WORKERS", 2, least=1, most=64)
ASKS_AN_HOUR = env.whole("SOUNDLINE_ASKS_AN_HOUR", 600, least=60, most=1_000_000)

# --- Programming interface ---------------------------------------------------

REST_FRAMEWORK: dict[str, Any] = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["api.tokens.TokenAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["api.tokens.HasScope"],
    "DEFAULT_SCHEMA_CLASS": "api.schema.Schema31",
    "EXCEPTION_HANDLER": "api.problems.answer",
    # What comes back is chosen by the Accept header alone.
    "URL_FORMAT_OVERRIDE": None,
}
SPECTACULAR_SETTINGS: dict[str, Any] = {
    "TITLE": "Soundline",
    "VERSION": "1",
    "OAS_VERSION": "3.1.1",
    "DESCRIPTION": "A breed club's registry of joint examinations, for programs.",
    "CONTACT": {"name": CLUB_NAME, "email": CONTACT_EMAIL},
    "LICENSE": {"name": "MIT", "identifier": "MIT"},
    "POSTPROCESSING_HOOKS": ["api.schema.complete"],
    "DISABLE_ERRORS_AND_WARNINGS": False,
}

# --- Log ---------------------------------------------------------------------

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "lines": {"()": "registry.logs.JsonLines"},
        "plain": {"format": "{levelname} {name}: {message}", "style": "{"},
    },
    "handlers": {
        "stderr": {
            "class": "logging.StreamHandler",
            "formatter": "plain" if DEBUG else "lines",
        },
    },
    "root": {"handlers": ["stderr"], "level": "INFO"},
    "loggers": {
        # Its own handlers would mail tracebacks and print twice.
        "django": {"handlers": [], "level": "INFO", "propagate": True},
        # A refused or missing page is no event; its path may hold a private link.
        "django.request": {"level": "INFO" if DEBUG else "ERROR"},
        "django.security.DisallowedHost": {"handlers": [], "propagate": False},
        # It warns of each HEAD request for a missing page.
        "gunicorn.http.wsgi": {"level": "ERROR"},
    },
}
