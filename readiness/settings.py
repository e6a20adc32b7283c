"""Settings, read from the environment; every name is explained in DEVELOPERS.md."""

from __future__ import annotations

import sys
from pathlib import Path

import environ

from readiness.web.guards import DEMO_KEY  # importing it also registers the check of what is served to whom

BASE_DIR = Path(__file__).resolve().parent.parent
FIXTURES_DIR = BASE_DIR / "fixtures"

env = environ.Env()

DEBUG = env.bool("DEBUG", default=False)
SECRET_KEY = env.str("SECRET_KEY", default=DEMO_KEY)
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
HTTPS = env.bool("HTTPS", default=False)
PROXIES = env.int("PROXIES", default=0)

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.forms",
    "django_tables2",
    "django_filters",
    "readiness",
]
MIDDLEWARE = [
    "readiness.web.middleware.Headers",  # first, so that no answer leaves without them
    "django.middleware.security.SecurityMiddleware",
    "readiness.web.middleware.StaticFiles",
    "readiness.web.middleware.PlainText",
    "readiness.web.middleware.UploadLimit",  # before anything reads the body
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "readiness.web.queue.Keep",
    "readiness.web.queue.Queue",
    "readiness.web.middleware.Doors",
    "readiness.web.tablets.AtTablet",
]
ROOT_URLCONF = "readiness.urls"
WSGI_APPLICATION = "readiness.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "builtins": ["readiness.web.templatetags.page"],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "readiness.web.navigation.frame",
            ],
        },
    },
]


def _database() -> dict[str, object]:
    database: dict[str, object] = dict(env.db("DATABASE_URL", default=f"sqlite:///{BASE_DIR / 'foam.sqlite3'}"))
    if database["ENGINE"] == "django.db.backends.sqlite3":
        # IMMEDIATE takes the write lock first, so two writers wait instead of losing; FULL outlives a power cut.
        database["OPTIONS"] = {
            "transaction_mode": "IMMEDIATE",
            "timeout": 20,
            "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;",
        }
    return database


DATABASES = {"default": _database()}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "readiness.User"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]

LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign_in"
PASSWORD_RESET_TIMEOUT = 60 * 60 * 24  # a day

SESSION_COOKIE_AGE = 60 * 60 * env.int("SESSION_HOURS", default=26)  # a shift of 24 hours and its handover
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
CSRF_FAILURE_VIEW = "readiness.web.errors.csrf_failure"
SECURE_SSL_REDIRECT = HTTPS
SECURE_REDIRECT_EXEMPT = [r"^healthz$"]  # asked by a supervisor on the same machine
SECURE_HSTS_SECONDS = 60 * 60 * 24 * 365 if HTTPS else 0
SECURE_REFERRER_POLICY = "same-origin"
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if PROXIES else None
X_FRAME_OPTIONS = "DENY"

DATA_UPLOAD_MAX_NUMBER_FIELDS = 2_500  # 500 differences of an inventory, with a tick, a cause and words each
DATA_UPLOAD_MAX_MEMORY_SIZE = 5_000_000  # what a form or a phone sends beside files; files: see UploadLimit

EMAIL = env.email_url("EMAIL_URL", default="consolemail://")
vars().update(EMAIL)
MAIL_IS_SENT = EMAIL["EMAIL_BACKEND"] != "django.core.mail.backends.console.EmailBackend"
DEFAULT_FROM_EMAIL = env.str("MAIL_FROM", default="Foam Readiness <foam-readiness@localhost>")

FORM_RENDERER = "readiness.web.forms.Renderer"
DJANGO_TABLES2_TEMPLATE = "tables/table.html"

LANGUAGE_CODE = "en-us"
USE_I18N = False
TIME_ZONE = "UTC"
USE_TZ = True

MEDIA_ROOT = env.str("MEDIA_ROOT", default=str(BASE_DIR / "media"))  # photos; no address leads there by itself

STATIC_URL = "static/"
WHITENOISE_ALLOW_ALL_ORIGINS = False
STATIC_ROOT = BASE_DIR / "staticfiles"
STATICFILES_DIRS = [BASE_DIR / "readiness" / "web" / "static"]
# Until collectstatic has run (the demo, the tests) files are served from where they stand, under plain names.
WHITENOISE_USE_FINDERS = DEBUG or not (STATIC_ROOT / "staticfiles.json").exists()
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if WHITENOISE_USE_FINDERS and "collectstatic" not in sys.argv
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"reference": {"()": "readiness.web.references.WithReference"}},
    "formatters": {"line": {"format": "{asctime} {levelname} {name} [{reference}] {message}", "style": "{"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "filters": ["reference"], "formatter": "line"}},
    "root": {"handlers": ["stderr"], "level": "WARNING"},
    "loggers": {
        "django": {"handlers": ["stderr"], "level": "WARNING", "propagate": False},
        "django.server": {"handlers": ["stderr"], "level": "INFO", "propagate": False},
    },
}
