"""Django's settings. Few, and all of them come from TROD_HOME or from a TROD_… variable."""

from __future__ import annotations

import os
from pathlib import Path

from trod import limits
from trod.catalogue import database, home

HERE = Path(__file__).parent
SECRET_KEY = home.secret_key()
DEBUG = os.environ.get("TROD_DEBUG") == "1"

# Names under which this server may be called. `trod serve` adds the host it was told to listen on.
ALLOWED_HOSTS = ["localhost", "127.0.0.1", "[::1]", *filter(None, os.environ.get("TROD_HOSTS", "").split(","))]
# True only when the server listens on loopback alone: then whoever sits at the machine needs no account.
TROD_OPEN_ON_LOOPBACK = os.environ.get("TROD_DEMAND_ACCOUNTS") != "1"

INSTALLED_APPS = [
    "trod.catalogue.apps.TrodConfig",
    "trod.web.apps.PagesConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "django_htmx",
    "leaflet",  # for its packaged Leaflet files alone
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "trod.web.access.DoorMiddleware",
    "trod.web.seen.SeenMiddleware",
    "trod.web.access.HeadersMiddleware",
    "trod.web.refused.RefusedMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]
ROOT_URLCONF = "trod.web.urls"
WSGI_APPLICATION = "trod.web.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [HERE / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "trod.web.pages.everywhere",
            ],
            "builtins": ["trod.web.templatetags.trod"],
        },
    }
]
_url = os.environ.get("TROD_DATABASE_URL")
DATABASES = {"default": database.from_url(_url) if _url else database.sqlite(home.home() / "catalogue.sqlite3")}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

LANGUAGE_CODE = "en"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"  # pages turn instants into the reserve's own time; see trod.clock

STATIC_URL = "/static/"
# Scripts that a page and the field form, which is no page of ours, have in common.
STATICFILES_DIRS = [("trod/shared", Path(__file__).resolve().parents[1] / "shared_scripts")]
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = DEBUG
WHITENOISE_MAX_AGE = 60 * 60 * 24 * 30  # addresses carry a stamp of the file: {% asset %}

LOGIN_URL = "/people/login/"
LOGIN_REDIRECT_URL = "/"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
        "NumericPasswordValidator",
    )
] + [{"NAME": "trod.web.shared.accounts.NotTheNameValidator"}]
SESSION_ENGINE = "trod.web.sessions"
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 60 * 60 * 24 * 60
CSRF_COOKIE_SAMESITE = "Lax"
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
DATA_UPLOAD_MAX_NUMBER_FIELDS = limits.FORM_FIELDS
DATA_UPLOAD_MAX_NUMBER_FILES = limits.FORM_FILES
DATA_UPLOAD_MAX_MEMORY_SIZE = limits.FORM_BYTES
SILENCED_SYSTEM_CHECKS: list[str] = []
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "loggers": {"django.request": {"handlers": ["console"], "level": "ERROR", "propagate": False}},
}
