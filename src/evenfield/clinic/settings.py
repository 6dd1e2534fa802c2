"""Django's settings. Importing them writes nothing; `terminal.start_django` prepares the data directory."""

import os
from typing import Any

from csp.constants import NONE, SELF

from evenfield.clinic.database import database_settings
from evenfield.clinic.home import home_path, is_demonstration, secret_key

EVENFIELD_HOME = home_path()
EVENFIELD_DEMONSTRATION = is_demonstration(EVENFIELD_HOME)
# Names under which a front server with TLS reaches this one; without them only loopback names are answered.
_FRONT_HOSTS = [name for name in os.environ.get("EVENFIELD_HOSTS", "").split(",") if name]

SECRET_KEY = secret_key(EVENFIELD_HOME)
DEBUG = False
ALLOWED_HOSTS = ["127.0.0.1", "localhost", "[::1]", *_FRONT_HOSTS]
CSRF_TRUSTED_ORIGINS = [f"https://{name}" for name in _FRONT_HOSTS]

# The parts of the clinic, in the order of menu, export and demonstration. A new part is one line here.
CLINIC_PARTS = [
    "evenfield.clinic.audit",
    "evenfield.clinic.accounts",
    "evenfield.clinic.pages",
    "evenfield.clinic.people",
    "evenfield.clinic.screening",
    "evenfield.clinic.setup_check",
    "evenfield.clinic.measuring",
    "evenfield.clinic.photographs",
    "evenfield.clinic.devices",
    "evenfield.clinic.courses",
    "evenfield.clinic.planning",
    "evenfield.clinic.visits",
    "evenfield.clinic.exchange",
    "evenfield.clinic.api",
    "evenfield.clinic.upkeep",
]
INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "csp",
    *CLINIC_PARTS,
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "evenfield.clinic.pages.static_files.StaticFilesMiddleware",
    "csp.middleware.CSPMiddleware",
    "evenfield.clinic.pages.middleware.PrivatePagesMiddleware",
    "evenfield.clinic.visits.short_way.ShortWay",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "evenfield.clinic.pages.middleware.ClinicMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "evenfield.clinic.accounts.middleware.AccessMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]

ROOT_URLCONF = "evenfield.clinic.urls"
ASGI_APPLICATION = "evenfield.clinic.asgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "evenfield.clinic.pages.context.page",
            ],
        },
    },
]
FORM_RENDERER = "evenfield.clinic.pages.forms.ClinicFormRenderer"

DATABASES: dict[str, dict[str, Any]] = {
    "default": database_settings(os.environ.get("DATABASE_URL", ""), EVENFIELD_HOME)
}

AUTH_USER_MODEL = "accounts.Account"
AUTHENTICATION_BACKENDS = ["evenfield.clinic.accounts.backend.AccountBackend"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
LOGIN_URL = "sign-in"

SESSION_COOKIE_NAME = "evenfield_session"
SESSION_COOKIE_AGE = 12 * 60 * 60
SESSION_COOKIE_SECURE = bool(_FRONT_HOSTS)
CSRF_COOKIE_NAME = "evenfield_csrf"
CSRF_COOKIE_SECURE = bool(_FRONT_HOSTS)
CSRF_COOKIE_HTTPONLY = False  # the page's own scripts send the token with their requests
CSRF_FAILURE_VIEW = "evenfield.clinic.pages.views.csrf_failed"
if _FRONT_HOSTS:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF],
        "font-src": [SELF],
        "connect-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}

USE_TZ = True
TIME_ZONE = "UTC"
USE_I18N = True
LANGUAGE_CODE = "en-gb"
FORMAT_MODULE_PATH = ["evenfield.clinic.formats"]
DATA_UPLOAD_MAX_MEMORY_SIZE = 4 * 1024 * 1024
# A photograph as it comes from a camera holds its place: up to the size taken it never touches a disk so.
FILE_UPLOAD_MAX_MEMORY_SIZE = 25 * 1024 * 1024

STATIC_URL = "static/"
WHITENOISE_USE_FINDERS = True
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
MEDIA_ROOT = EVENFIELD_HOME / "files"
SILENCED_SYSTEM_CHECKS: list[str] = []
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "%(asctime)s %(levelname)s %(name)s: %(message)s"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {"django.request": {"handlers": ["console"], "level": "ERROR", "propagate": False}},
}
