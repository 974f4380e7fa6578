"""Django's settings, all from the environment (see environment.py for each name and its hint)."""

from importlib.util import find_spec
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from celery.schedules import crontab
from csp.constants import NONE, SELF
from psycopg.conninfo import conninfo_to_dict

from . import environment, logs

ROOT = Path(__file__).resolve().parent.parent.parent
ENV = environment.read()

DEBUG = ENV.debug
SECRET_KEY = ENV.secret_key or "only-for-a-developers-own-desk-never-for-a-real-service"
SECRET_KEY_FALLBACKS = list(ENV.old_secret_keys)
ALLOWED_HOSTS = list(ENV.hosts) or ["localhost", "127.0.0.1", "[::1]"]
# Where letters and stickers lead, which no request tells the worker.
ADDRESS = ENV.address.rstrip("/")
DESK_ADDRESS = ADDRESS or f"{'https' if ENV.https else 'http'}://{ALLOWED_HOSTS[0].lstrip('.*')}"

INSTALLED_APPS = [
    "config",
    "people",
    "fleet.machines",
    "fleet.inventory",
    "fleet.sales",
    "fleet.demand",
    "service.tickets",
    "service.upkeep",
    "service.watch",
    "service.runs",
    "service.compliance",
    "service.earnings",
    "api",
    "office",
    "rest_framework",
    "django_filters",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "axes",
    "django_htmx",
    "django.contrib.postgres",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
]
MIDDLEWARE = [
    "config.requests.RequestIdMiddleware",
    "api.middleware.ProblemMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "people.doors.PolicyMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
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
                "office.context.desk",
            ],
            "builtins": ["office.templatetags.desk"],
        },
    }
]


def _database(url: str) -> dict[str, object]:
    parts = conninfo_to_dict(url)
    named = {
        "dbname": "NAME",
        "user": "USER",
        "password": "PASSWORD",
        "host": "HOST",
        "port": "PORT",
    }
    options = {k: v for k, v in parts.items() if k not in named}
    return {
        "ENGINE": "django.db.backends.postgresql",
        **{django: str(parts.get(libpq) or "") for libpq, django in named.items()},
        # A lock that does not come free becomes a clear answer (409), not a hanging request.
        "OPTIONS": {**options, "options": "-c lock_timeout=10s"},
        "CONN_MAX_AGE": 60,
        "CONN_HEALTH_CHECKS": True,
    }


DATABASES = {"default": _database(ENV.database_url)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": ENV.redis_url,
        "KEY_PREFIX": "colonnade",
    }
}

# People
AUTH_USER_MODEL = "people.Person"
# An e-mail is unique whatever its capitals, by a constraint that the check cannot see.
SILENCED_SYSTEM_CHECKS = ["auth.W004"]
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "office:sign-in"
LOGIN_REDIRECT_URL = "office:today"
LOGOUT_REDIRECT_URL = "office:sign-in"
SESSION_COOKIE_AGE = 14 * 24 * 3600
PASSWORD_RESET_TIMEOUT = 3600
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_USERNAME_FORM_FIELD = "username"
AXES_LOCKOUT_TEMPLATE = "office/people/locked_out.html"
AXES_VERBOSE = False
AXES_USERNAME_CALLABLE = "config.lockout.username"
AXES_CLIENT_IP_CALLABLE = "config.lockout.address"

# Safety of the wire
PROXIES = 1 if ENV.proxy else 0
SECURE_SSL_REDIRECT = ENV.https and not DEBUG
SECURE_REDIRECT_EXEMPT = [r"^healthz$", r"^readyz$"]
SECURE_HSTS_SECONDS = 365 * 24 * 3600 if ENV.https and not DEBUG else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = True
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if ENV.proxy else None
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = ENV.https and not DEBUG
SESSION_COOKIE_HTTPONLY = True
CSRF_COOKIE_HTTPONLY = False  # htmx reads it to send the token
X_FRAME_OPTIONS = "DENY"


def _origins(address: str) -> list[str]:
    """The server of an address as a policy names it; `{s}` stands for its many names."""
    parts = urlsplit(address)
    return [f"{parts.scheme}://{parts.netloc.replace('{s}', '*')}"] if address else []


CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        # The map's pictures come from its own server, where one is set; nothing else does.
        "img-src": [SELF, "data:", *(_origins(ENV.map_tiles))],
        "font-src": [SELF],
        "connect-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
        "manifest-src": [SELF],
        "worker-src": [SELF],
    }
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 8 * 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FILES = 200

# E-mail
_mail = urlsplit(ENV.email_url)
EMAIL_BACKEND = (
    f"django.core.mail.backends.{'console' if _mail.scheme == 'console' else 'smtp'}.EmailBackend"
)
EMAIL_HOST, EMAIL_PORT = _mail.hostname or "", _mail.port or 0
EMAIL_HOST_USER, EMAIL_HOST_PASSWORD = unquote(_mail.username or ""), unquote(_mail.password or "")
EMAIL_USE_TLS, EMAIL_USE_SSL = (
    _mail.scheme == "smtp" and bool(_mail.username),
    _mail.scheme == "smtps",
)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = SERVER_EMAIL = ENV.email_from

# Words and time
LANGUAGE_CODE = "en-us"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"

# Static files: collected at build, hashed, served by the web process
STATIC_URL = "static/"
STATIC_ROOT = Path(ENV.static_folder) if ENV.static_folder else ROOT / ".data" / "static"
# The map library's own files. Its Django app wants the geographic libraries; we draw points.
_LEAFLET = find_spec("leaflet")
STATICFILES_DIRS = [
    ("leaflet", Path(folder) / "static" / "leaflet")
    for folder in (_LEAFLET.submodule_search_locations if _LEAFLET else None) or ()
]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}
WHITENOISE_MANIFEST_STRICT = False

# The API
REST_FRAMEWORK: dict[str, Any] = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "api.authentication.DeviceTokenAuthentication",
        "api.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["api.permissions.PolicyPermission"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_PAGINATION_CLASS": "api.pagination.CursorPagination",
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "DEFAULT_SCHEMA_CLASS": "api.schema.Schema",
    "DEFAULT_THROTTLE_CLASSES": ["api.throttling.PersonThrottle"],
    "DEFAULT_THROTTLE_RATES": {"person": "1200/min", "anonymous": "60/min", "sign-in": "20/min"},
    "NUM_PROXIES": PROXIES,
    "EXCEPTION_HANDLER": "api.errors.problem",
    "COERCE_DECIMAL_TO_STRING": True,
    "DATETIME_FORMAT": "iso-8601",
    "PAGE_SIZE": 100,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Colonnade",
    "VERSION": "1",
    "OAS_VERSION": "3.1.1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": r"/api/v1",
    "COMPONENT_SPLIT_REQUEST": True,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
    # So many doors are found by their noun; drawn all at once they would take seconds.
    "SWAGGER_UI_SETTINGS": {"deepLinking": True, "docExpansion": "none"},
    "SORT_OPERATIONS": True,
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "ENUM_NAME_OVERRIDES": {
        "ChangeoverState": "fleet.machines.models.Changeover.State",
        "FitRunState": "fleet.demand.models.FitRun.State",
        "FitChunkState": "fleet.demand.models.FitChunk.State",
        "DemandBasis": "fleet.demand.models.ColumnDemand.Basis",
        "RunState": "service.runs.models.Run.State",
        "StopState": "service.runs.models.Stop.State",
        "DayPlanState": "service.runs.models.DayPlan.State",
        "LoadBasis": "service.runs.models.LoadLine.Basis",
        "ReadState": "fleet.sales.models.AuditRead.State",
        "ReadSource": "fleet.sales.models.AuditRead.Source",
        "SetUpSource": "fleet.machines.models.SetUp.Source",
        "ChartSource": "fleet.machines.models.ChartEntry.Source",
        "PromiseKind": "service.tickets.models.PromiseRule.Kind",
        "WebhookEvent": "service.tickets.models.WebhookTarget.Event",
        "Orientation": "fleet.machines.models.setups.Setting.Orientation",
        "Runs": "fleet.machines.models.Position.Runs",
        "EventUrgency": "fleet.sales.models.EventMeaning.Urgency",
        "RefundState": "service.tickets.models.Refund.State",
        "TicketSource": "service.tickets.models.Ticket.Source",
        "InPart": ["days", "whole"],
        "TaxBasis": "service.compliance.models.TaxSettings.Basis",
        "JurisdictionKind": "service.compliance.models.Jurisdiction.Kind",
        "ReadingWhat": "service.upkeep.models.Reading.What",
        "BagStepWhat": "fleet.sales.models.custody.BagStep.What",
        "FloatLineWhat": "fleet.sales.models.floats.HostFloatLine.What",
        "MoneyKind": "fleet.sales.models.custody.BagCountLine.Kind",
        "CountedHow": "fleet.sales.models.custody.BagCountLine.How",
        "FindingKind": "service.watch.models.Finding.Kind",
        "DutyKind": "service.compliance.models.duties.DutyKind",
        "DutySubject": "service.compliance.models.duties.Subject",
        "DutyState": "service.compliance.models.Duty.State",
        "SourceStatus": "service.compliance.models.duties.SourceStatus",
        "DutyAppliesTo": "service.compliance.models.DutyRule.AppliesTo",
        "AppliesToEnum": "service.upkeep.models.MaintenancePlan.AppliesTo",
        "StatusEnum": "fleet.machines.models.Machine.Status",
        "FindingState": "service.watch.models.Finding.State",
        "DismissalReason": "service.watch.models.Finding.Reason",
        "TicketState": "service.tickets.models.Ticket.State",
        "TicketUrgency": "service.tickets.models.Ticket.Urgency",
    },
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "api.schema.add_problems",
    ],
}

# Celery: the clock and the hands; what is due stands in the database
CELERY_BROKER_URL = ENV.redis_url
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": 3600}
CELERY_TASK_TIME_LIMIT = 3600
CELERY_TIMEZONE = "UTC"
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BEAT_SCHEDULE = {
    "watch-folder": {"task": "fleet.sales.tasks.read_watch_folder", "schedule": 60.0},
    "match-waiting-reads": {"task": "fleet.sales.tasks.match_waiting_reads", "schedule": 600.0},
    "settle-counts": {
        "task": "fleet.sales.tasks.settle_counts",
        # Before the night's fits, when nobody in the business's country sells or counts much.
        "schedule": crontab(hour=5, minute=40),
    },
    "keep-fitting": {"task": "fleet.demand.tasks.keep_fitting", "schedule": 60.0},
    "plan-the-day": {"task": "service.runs.tasks.plan_the_day", "schedule": 600.0},
    "let-tickets-go": {"task": "service.runs.tasks.let_tickets_go", "schedule": 300.0},
    "keep-watch": {"task": "service.watch.tasks.keep_watch", "schedule": 300.0},
    "keep-promises": {"task": "service.tickets.tasks.keep_promises", "schedule": 300.0},
    "send-webhooks": {"task": "service.tickets.tasks.send_webhooks", "schedule": 60.0},
    "mail-notices": {"task": "people.tasks.mail_what_waits", "schedule": 600.0},
    "mail-statements": {"task": "fleet.sales.tasks.mail_waiting_statements", "schedule": 600.0},
    "forget-contacts": {
        "task": "service.tickets.tasks.forget_old_contacts",
        "schedule": crontab(hour=4, minute=20),
    },
    "work-out-upkeep": {
        "task": "service.upkeep.tasks.work_out_what_is_due",
        "schedule": crontab(hour=8, minute=20),
    },
    "remind-of-upkeep": {"task": "service.upkeep.tasks.remind", "schedule": 1800.0},
    "work-out-duties": {
        "task": "service.compliance.tasks.work_out_duties",
        "schedule": crontab(hour=8, minute=40),
    },
    "remind-of-duties": {
        "task": "service.compliance.tasks.remind_of_duties",
        "schedule": 1800.0,
    },
    "judge-food": {"task": "service.compliance.tasks.judge_food", "schedule": 300.0},
    "expired-keys": {"task": "api.tasks.forget_expired_keys", "schedule": 3600.0},
}

WATCH_FOLDER = ENV.watch_folder
ROUTING_SERVER_URL = ENV.routing_server_url
ROUTING_SERVER_KIND = ENV.routing_server_kind
ROUTING_SERVER_KEY = ENV.routing_server_key
MAP_TILES = ENV.map_tiles
MAP_CREDIT = ENV.map_credit
WEBHOOK_PRIVATE = ENV.webhook_private
LOGGING_CONFIG = None
logs.configure(level=ENV.log_level, style=ENV.log_format)
