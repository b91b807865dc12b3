"""Settings, all from the environment; what is missing fails loudly. manage.py adds the embedded servers' addresses."""

from pathlib import Path

import environ
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _

from server.logs import json_lines

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()

SECRET_KEY = env("SECRET_KEY")
DEBUG = env.bool("DEBUG", default=False)
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["127.0.0.1", "localhost", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])
# Where people reach the site, for links in mails.
SITE_URL = env("SITE_URL", default="http://127.0.0.1:8000").rstrip("/")
SECURE = SITE_URL.startswith("https://")
# The demo and the journeys move the clock by this file; production refuses it (server/checks.py).
CLOCK_FILE = env("CLOCK_FILE", default="")
# The demo shows its mails on a page from here; empty everywhere else.
DEMO_MAIL_DIR = env("DEMO_MAIL_DIR", default="")
CODE_VERSION = env("CODE_VERSION", default="0.1.0")

# --- Databases: one connection a role (DEVELOPERS.md, "Two walls") ---------------------------------------------------
# The role that `default` connects as: app for pages and the API, worker for checks and mail, owner for migrations.
DATABASE_ROLE = env("DATABASE_ROLE", default="app")
ROLE_ALIASES = ("owner", "worker", "cohort", "region", "eraser", "backup")


def _database(url: str) -> dict[str, object]:
    database: dict[str, object] = env.db_url_config(url)
    database["ENGINE"] = "django.db.backends.postgresql"
    database.setdefault("CONN_HEALTH_CHECKS", True)
    database["CONN_MAX_AGE"] = 60
    return database


def _databases() -> dict[str, dict[str, object]]:
    urls = {name: env(f"DATABASE_URL_{name.upper()}", default="") for name in ROLE_ALIASES}
    default = env("DATABASE_URL") if DATABASE_ROLE == "app" else urls.get(DATABASE_ROLE)
    if not default:
        raise ImproperlyConfigured(f"Set DATABASE_URL_{DATABASE_ROLE.upper()}: DATABASE_ROLE asks for it.")
    return {"default": _database(default)} | {name: _database(url) for name, url in urls.items() if url}


DATABASES = _databases()
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
# For `manage.py restore` on servers of your own, given by hand: no process of the service knows it.
SUPERUSER_URL = env("DATABASE_URL_SUPERUSER", default="")
# The folder of pg_dump and pg_restore, where they are neither the embedded servers' nor on the path.
POSTGRES_PROGRAMS = env("POSTGRES_PROGRAMS", default="")
REDIS_URL = env("REDIS_URL")

# --- Applications ----------------------------------------------------------------------------------------------------
INSTALLED_APPS = [
    "server.apps.ServerConfig",
    "alerts.apps.AlertsConfig",
    "monitoring.apps.MonitoringConfig",
    "farms.apps.FarmsConfig",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.postgres",
    "allauth",
    "allauth.account",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "csp",
    "anymail",
    "django_structlog",
    "django_prometheus",
]
MIDDLEWARE = [
    "django_prometheus.middleware.PrometheusBeforeMiddleware",
    "server.secret_addresses.secret_addresses",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "server.compression.CompressedPages",
    "csp.middleware.CSPMiddleware",
    "server.after_answer.acts_when_answered",
    "server.api.problems.problem_pages",
    "server.cut_off.CutOffMiddleware",
    "server.sessions.Sessions",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "server.middleware.TenancyMiddleware",
    "django_structlog.middlewares.RequestMiddleware",
    "server.api.throttle.throttled",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django_prometheus.middleware.PrometheusAfterMiddleware",
]
ROOT_URLCONF = "server.urls"
WSGI_APPLICATION = "server.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "server" / "web" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "django.template.context_processors.i18n",
                "server.web.context.site",
            ],
            "libraries": {"words": "server.web.words"},
        },
    }
]

# --- Signing in: a mailed one-time code, no password -----------------------------------------------------------------
AUTH_USER_MODEL = "farms.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
ACCOUNT_ADAPTER = "server.web.sign_in.AccountAdapter"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_LOGIN_BY_CODE_ENABLED = True
ACCOUNT_LOGIN_BY_CODE_MAX_ATTEMPTS = 3
ACCOUNT_LOGIN_BY_CODE_TIMEOUT = 15 * 60
ACCOUNT_PREVENT_ENUMERATION = True
# The mail to an address that isn't known is written and never sent (server/web/sign_in.py): the site can't be used to
# bother strangers, and takes as long as for somebody.
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = True
ACCOUNT_FORMS = {"confirm_login_code": "server.web.sign_in_code.CodeForm"}
# Asking for codes; typing wrong ones is counted in server/web/sign_in_code.py.
ACCOUNT_RATE_LIMITS = {"request_login_code": "20/m/ip,300/h/ip,3/m/key,12/h/key,40/d/key"}
LOGIN_URL = "account_request_login_code"
LOGIN_REDIRECT_URL = "home"
ACCOUNT_LOGOUT_REDIRECT_URL = "home"
AUTH_PASSWORD_VALIDATORS = [{"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator"}]
SESSION_ENGINE = "server.sessions"
SESSION_COOKIE_AGE = 30 * 24 * 3600
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE
SESSION_COOKIE_SAMESITE = "Lax"

# --- Security headers ------------------------------------------------------------------------------------------------
SECURE_SSL_REDIRECT = SECURE
SECURE_REDIRECT_EXEMPT = [r"^healthz$", r"^readyz$", r"^metrics$"]
SECURE_HSTS_SECONDS = 365 * 24 * 3600 if SECURE else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE
SECURE_HSTS_PRELOAD = SECURE
BEHIND_PROXY = env.bool("BEHIND_PROXY", default=False)
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if BEHIND_PROXY else None
ALLAUTH_TRUSTED_PROXY_COUNT = int(BEHIND_PROXY)  # tries of codes are counted by the address that the proxy tells
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        # blob: what a phone has photographed and not sent yet.
        "img-src": [SELF, "data:", "blob:"],
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 16 * 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 6 * 1024 * 1024

# --- Language, time --------------------------------------------------------------------------------------------------
LANGUAGE_CODE = "en"
LANGUAGES = [("en", _("English")), ("es", _("Spanish"))]
LOCALE_PATHS = [BASE_DIR / "server" / "locale"]
TIME_ZONE = "UTC"

# --- Files -----------------------------------------------------------------------------------------------------------
STATIC_URL = "static/"
STATICFILES_DIRS = [BASE_DIR / "server" / "web" / "static"]
STATIC_ROOT = Path(env("STATIC_ROOT", default=str(BASE_DIR / "staticfiles")))
# Served straight from the packages where nothing was collected (demo, tests); hashed and compressed in production.
# Letters and scripts are this site's own: no other one asks for them.
WHITENOISE_ALLOW_ALL_ORIGINS = False
WHITENOISE_USE_FINDERS = WHITENOISE_AUTOREFRESH = not STATIC_ROOT.exists()
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "server.static_files.NamedByContent"
        if STATIC_ROOT.exists()
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}

# --- Mail ------------------------------------------------------------------------------------------------------------
globals().update(env.email_url("EMAIL_URL", default="smtp://127.0.0.1:25"))
EMAIL_BACKEND = env("EMAIL_BACKEND", default=globals()["EMAIL_BACKEND"])
EMAIL_FILE_PATH = DEMO_MAIL_DIR or env("EMAIL_FILE_PATH", default="")
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = SERVER_EMAIL = env("MAIL_FROM", default="Flyround <flyround@localhost>")
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
# The mail service that reports bounces and complaints at /mail-events/, by anymail's name for it, and "user:password"
# with which it reports; empty where mail goes by SMTP alone.
MAIL_EVENTS = env("MAIL_EVENTS", default="")
# What anymail needs of a service, as JSON.
ANYMAIL = env.json("ANYMAIL", default={}) | ({"WEBHOOK_SECRET": env("MAIL_EVENTS_SECRET")} if MAIL_EVENTS else {})

# --- Text messages: off without an address. What is posted there: docs/text-messages.md ------------------------------
TEXT_MESSAGE_URL = env("TEXT_MESSAGE_URL", default="")
TEXT_MESSAGE_KEY = env("TEXT_MESSAGE_KEY", default="")
TEXT_MESSAGE_MAY_BE_PLAIN = env.bool("TEXT_MESSAGE_MAY_BE_PLAIN", default=False)

# Off in the tests, which look at once.
AFTER_ANSWER_IN_THREAD = env.bool("AFTER_ANSWER_IN_THREAD", default=True)

# --- Webhooks: for the tests only, networks that aren't public and an authority of their own (server/checks.py) ------
WEBHOOKS_TEST_NETWORKS = env.list("WEBHOOKS_TEST_NETWORKS", default=[])
WEBHOOKS_TEST_CA = env("WEBHOOKS_TEST_CA", default="")

# --- Cache, Celery: Redis is the bell, PostgreSQL the truth ----------------------------------------------------------
CACHES = {
    "default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": REDIS_URL},
    # What is drawn from reports that never change: in each process, so that pages need no Valkey for it.
    "drawn": {
        "BACKEND": "django.core.cache.backends.locmem.LocMemCache", "LOCATION": "drawn", "TIMEOUT": 24 * 3600,
        "OPTIONS": {"MAX_ENTRIES": 200},
    },
}  # fmt: skip
_broker = REDIS_URL.replace("unix://", "redis+socket://", 1) if REDIS_URL.startswith("unix://") else REDIS_URL
CELERY = {
    "broker_url": env("CELERY_BROKER_URL", default=_broker),
    "task_ignore_result": True,
    "task_acks_late": True,
    "task_reject_on_worker_lost": True,
    "worker_prefetch_multiplier": 1,
    "worker_hijack_root_logger": False,
    "broker_connection_retry_on_startup": True,
    "broker_transport_options": {"visibility_timeout": 3600},
}

# --- Limits of the API: requests/seconds in any such span (server/api/throttle.py) -----------------------------------
API_LIMITS = {
    name: env(f"LIMIT_{name.upper()}", default=usual)
    for name, usual in {
        "key": "600/60",  # one token
        "person": "600/60",  # one signed-in person
        "address": "6000/60",  # all who share an address: thirty farms' programs in one office
        "nobody": "60/60",  # an address, without a token and not signed in
        "bad_key": "30/900",  # an address' tokens that aren't known
        "bulk": "120/600",  # whole tables in or out, by one asker
        "bulk_address": "1200/600",
    }.items()
}
# Tests and benches ask more often than anybody: they set a large one.
API_LIMITS_TIMES = env.int("API_LIMITS_TIMES", default=1)

# --- REST API --------------------------------------------------------------------------------------------------------
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "server.api.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["server.api.rendering.OneJson"],
    "DEFAULT_PARSER_CLASSES": ["server.api.parsing.JsonBody"],
    "DEFAULT_PAGINATION_CLASS": "server.api.pagination.NewestFirst",
    "DEFAULT_METADATA_CLASS": None,
    "DEFAULT_SCHEMA_CLASS": "server.api.schema.NounSchema",
    "EXCEPTION_HANDLER": "server.api.problems.handle",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Flyround",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "SCHEMA_PATH_PREFIX": r"/api/v1",
    "POSTPROCESSING_HOOKS": ["server.api.schema.add_problems"],
}

# --- Watching --------------------------------------------------------------------------------------------------------
# Whoever has this token reads /metrics; without one the address isn't there.
METRICS_TOKEN = env("METRICS_TOKEN", default="")
# Pinged each minute while every count matches, and nothing is older than these hours (server/watchdog.py).
WATCHDOG_URL = env("WATCHDOG_URL", default="")
WATCHDOG_MAY_BE_PLAIN = env.bool("WATCHDOG_MAY_BE_PLAIN", default=False)
WATCHDOG_HOURS = {
    name: env.float(f"WATCHDOG_HOURS_{name.upper()}", default=usual)
    for name, usual in {"check": 2.0, "mail": 7.0, "import": 2.0}.items()
}

# --- Signed days (docs/evidence.md): off without a key ---------------------------------------------------------------
# The private key's file, for the worker alone; the folder outside the database in which each day's head is filed; and
# who gets it by mail.
HEADS_KEY = env("HEADS_KEY", default="")
HEADS_DIR = env("HEADS_DIR", default="")
HEADS_MAIL_TO = env.list("HEADS_MAIL_TO", default=[])
# An authority that stamps each head's time (RFC 3161), and the certificates by which its answers are checked.
TIME_STAMP_URL = env("TIME_STAMP_URL", default="")
TIME_STAMP_CA = env("TIME_STAMP_CA", default="")
TIME_STAMP_MAY_BE_PLAIN = env.bool("TIME_STAMP_MAY_BE_PLAIN", default=False)

# --- Logs ------------------------------------------------------------------------------------------------------------
LOGGING = json_lines(env("LOG_LEVEL", default="INFO"))
