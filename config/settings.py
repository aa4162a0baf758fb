"""Settings, all of them from the environment; the defaults serve one keeper on one machine."""

import os
import tempfile
from pathlib import Path

import environ

from config.files import file_storage
from config.home import kept_secret

env = environ.Env()

BASE_DIR = Path(__file__).resolve().parent.parent

# The folder that holds the keeper's data: database, files, keys.
RAMET_HOME = Path(env("RAMET_HOME", default=str(BASE_DIR / "var"))).expanduser().resolve()

SECRET_KEY = env("SECRET_KEY", default="") or kept_secret(RAMET_HOME / "keys" / "secret_key")
DEBUG = env.bool("DEBUG", default=False)
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "django_tables2",
    "django_filters",
    "django_htmx",
    "simple_history",
    "axes",
    "django_tasks",
    "django_tasks_db",
    "propagation",
    "inventory",
    "labels",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "config.middleware.ContentSecurityPolicyMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "simple_history.middleware.HistoryRequestMiddleware",
    "propagation.middleware.OutlooksFollowRecords",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "propagation.context.preferences",
            ],
        },
    }
]

SQLITE_OPTIONS = {
    # A writer waits for its turn from the start instead of failing half-way with "database is locked".
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;"
    " PRAGMA busy_timeout=20000; PRAGMA cache_size=-64000; PRAGMA mmap_size=268435456;",
}
DATABASES = {"default": env.db("DATABASE_URL", default=f"sqlite:///{RAMET_HOME / 'ramet.sqlite3'}")}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"] |= {
        "ENGINE": "config.sqlite",
        "OPTIONS": SQLITE_OPTIONS,
        # Tests use a file too: in memory there is no write-ahead log, and threads would meet locked tables.
        "TEST": {"NAME": Path(tempfile.gettempdir()) / f"ramet-test-{os.getpid()}.sqlite3"},
    }
else:
    DATABASES["default"]["CONN_MAX_AGE"] = 60
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True

# Background work waits in the database; `serve` starts one worker, `manage.py work` starts more.
TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
# Forecasts are worked out again after every request that changed what they rest on; without, when a page asks.
OUTLOOKS_FOLLOW_RECORDS = True

DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "sesame.backends.ModelBackend",
    "django.contrib.auth.backends.ModelBackend",
]
# NIST SP 800-63B: long passwords, no composition rules.
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "sign_in"
SESSION_COOKIE_AGE = 60 * 60 * 24 * 90  # a bench phone stays signed in for a season
SESSION_COOKIE_SAMESITE = "Lax"

# Sign-in links printed by `demo` and `serve`: good once, for a day.
SESAME_MAX_AGE = 60 * 60 * 24
SESAME_ONE_TIME = True

# Throttle password guesses (NIST SP 800-63B §5.2.2).
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "429.html"
AXES_VERBOSE = False
AXES_CLIENT_IP_CALLABLE = "propagation.visitor.address_of_visitor"

# Throttle guesses of plug codes by strangers; one process keeps the count in memory, several share it by a URL.
THROTTLE_STORAGE = env("THROTTLE_STORAGE", default="memory://")
CODE_GUESSES_BY_STRANGERS = env("CODE_GUESSES_BY_STRANGERS", default="20/minute;200/day")

USE_I18N = False
USE_TZ = True
TIME_ZONE = env("TIME_ZONE", default=os.environ.get("TZ") or "UTC")
FORMAT_MODULE_PATH = ["config.formats"]

STATIC_URL = "static/"
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = DEBUG
MEDIA_ROOT = RAMET_HOME / "files"
STORAGES = {
    "default": file_storage(
        env("FILES_URL", default=""), key=env("FILES_KEY", default=""), secret=env("FILES_SECRET", default="")
    ),
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}

DATA_UPLOAD_MAX_NUMBER_FIELDS = 10_000  # a rack of a thousand plugs in one form
FILE_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024

HTTPS_ONLY = env.bool("HTTPS_ONLY", default=False)
SECURE_SSL_REDIRECT = HTTPS_ONLY
SESSION_COOKIE_SECURE = HTTPS_ONLY
CSRF_COOKIE_SECURE = HTTPS_ONLY
SECURE_HSTS_SECONDS = 60 * 60 * 24 * 365 if HTTPS_ONLY else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS_ONLY
SECURE_HSTS_PRELOAD = HTTPS_ONLY
BEHIND_PROXY = env.bool("BEHIND_PROXY", default=False)
if BEHIND_PROXY:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"

DJANGO_TABLES2_TEMPLATE = "propagation/table.html"
SIMPLE_HISTORY_HISTORY_CHANGE_REASON_USE_TEXT_FIELD = True

TEST_RUNNER = "config.test_runner.PytestRunner"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"format": "{asctime} {levelname} {name} {message}", "style": "{"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "plain"}},
    "root": {"handlers": ["stderr"], "level": "WARNING"},
}
