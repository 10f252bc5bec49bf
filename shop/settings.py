"""Settings, all from the environment; DEVELOPERS.md lists every variable.

Two ways to run: at the desk (the default: this machine only, plain HTTP, a secret key made on first
use and kept under ``var/``) and in production (``SADDLEROOM_PRODUCTION=1``: HTTPS, a secret key and
host names are obligatory, static files hashed and compressed). Debug is off in both unless asked for.
"""

from datetime import timedelta
from pathlib import Path

import environ
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from shop.desk import desk_secret_key
from shop.logs import logging_of
from shop.site import site_of

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = BASE_DIR / "var"

env = environ.Env()
PRODUCTION = env.bool("SADDLEROOM_PRODUCTION", default=False)
DEBUG = env.bool("SADDLEROOM_DEBUG", default=False)
if PRODUCTION and DEBUG:
    raise ImproperlyConfigured("SADDLEROOM_DEBUG and SADDLEROOM_PRODUCTION exclude each other.")

SECRET_KEY = env.str("SADDLEROOM_SECRET_KEY", default="")
_guessable = len(SECRET_KEY) < 50 or len(set(SECRET_KEY)) < 10 or "insecure" in SECRET_KEY
if PRODUCTION and _guessable:
    raise ImproperlyConfigured(
        "SADDLEROOM_SECRET_KEY must hold at least 50 random characters in production; "
        "`manage.py shell -c 'from django.core.management.utils import get_random_secret_key as k; "
        "print(k())'` makes one."
    )
SECRET_KEY = SECRET_KEY or desk_secret_key(DATA_DIR / "secret-key")

ALLOWED_HOSTS = env.list(
    "SADDLEROOM_HOSTS", default=[] if PRODUCTION else ["localhost", "127.0.0.1"]
)
if PRODUCTION and not ALLOWED_HOSTS:
    raise ImproperlyConfigured("SADDLEROOM_HOSTS must name the host names served, comma-separated.")
try:
    SITE = site_of(env.str("SADDLEROOM_SITE", default=""), secure=PRODUCTION)
except ValueError as error:
    raise ImproperlyConfigured(str(error)) from error
CSRF_TRUSTED_ORIGINS = [f"https://{host}" for host in ALLOWED_HOSTS] if PRODUCTION else []

INSTALLED_APPS = [
    "shop",
    "instruments",
    "measurements",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_htmx",
    "simple_history",
    "csp",
    "axes",
    "django_otp",
    "django_otp.plugins.otp_totp",
    "django_otp.plugins.otp_static",
]

MIDDLEWARE = [
    "shop.logs.RequestLog",
    "shop.middleware.Compressed",
    # What writes headers comes early, so that they stand on every answer: files and redirects too.
    "shop.middleware.EveryAnswer",
    "csp.middleware.CSPMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "shop.middleware.Sessions",
    "shop.languages.Language",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "shop.middleware.SignInsEnd",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "shop.middleware.HtmxPages",
    "simple_history.middleware.HistoryRequestMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "shop.urls"
WSGI_APPLICATION = "shop.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "shop.context.shop",
            ],
            "builtins": ["shop.templatetags.lengths"],
        },
    }
]

DATABASES = {
    "default": env.db("DATABASE_URL", default=f"sqlite:///{DATA_DIR / 'saddleroom.sqlite3'}")
}
_database = DATABASES["default"]
_database["CONN_MAX_AGE"] = None
if _database["ENGINE"] == "django.db.backends.sqlite3":
    # An immediate transaction waits for its turn; a deferred one fails at once when two people save.
    _database["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;",
    }
else:
    # Several servers outlive a restart of their database: a connection is tried before it is used.
    _database["CONN_HEALTH_CHECKS"] = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "shop.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
        "NumericPasswordValidator",
    )
]
AUTH_PASSWORD_VALIDATORS.append({"NAME": "shop.sign_in.passwords.NoShopWords"})
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign-in"

# Wrong passwords and codes are counted by account and address together, and by address alone; names and
# what was typed are kept nowhere (shop/sign_in/throttle.py).
SIGN_IN_FAILURES = 5
SIGN_IN_FAILURES_OF_AN_ADDRESS = 50
_second_factor = env.str("SADDLEROOM_SECOND_FACTOR", default="offered")
if _second_factor not in ("offered", "required"):
    raise ImproperlyConfigured(
        f"SADDLEROOM_SECOND_FACTOR is offered or required, not {_second_factor!r}."
    )
SECOND_FACTOR_REQUIRED = _second_factor == "required"
PROXIES = env.int("SADDLEROOM_PROXIES", default=0)
AXES_ENABLED = True
AXES_FAILURE_LIMIT = SIGN_IN_FAILURES
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_HANDLER = "shop.sign_in.throttle.Throttle"
AXES_USERNAME_CALLABLE = "shop.sign_in.throttle.account_of"
AXES_CLIENT_IP_CALLABLE = "shop.sign_in.throttle.address_of"
AXES_LOCKOUT_CALLABLE = "shop.sign_in.views.locked_out"
AXES_SENSITIVE_PARAMETERS = [
    "username", "ip_address", "code", "proof", "old_password", "new_password1", "new_password2",
    "csrfmiddlewaretoken", "next",
]  # fmt: skip
AXES_DISABLE_ACCESS_LOG = True
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False

# A bench tablet stays signed in while it is used; a forgotten one is signed out.
SESSION_COOKIE_AGE = 86_400 * env.int("SADDLEROOM_IDLE_DAYS", default=14)
SIGN_IN_AGE = 86_400 * env.int("SADDLEROOM_SIGN_IN_DAYS", default=90)
if PROXIES < 0 or min(SESSION_COOKIE_AGE, SIGN_IN_AGE) <= 0:
    raise ImproperlyConfigured(
        "SADDLEROOM_IDLE_DAYS and SADDLEROOM_SIGN_IN_DAYS take 1 or more, SADDLEROOM_PROXIES 0 or more."
    )

LANGUAGE_CODE = "en-gb"
LANGUAGES = [("en-gb", "English"), ("de", "Deutsch")]
LOCALE_PATHS = [BASE_DIR / "shop" / "locale"]
FORMAT_MODULE_PATH = "shop.formats"
TIME_ZONE = env.str("SADDLEROOM_TIME_ZONE", default="UTC")
USE_I18N = True
USE_TZ = True

STATIC_URL = "/static/"
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.FileSystemFinder",
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "shop.finders.PlotlyFinder",
]
if PRODUCTION:
    STATIC_ROOT = env.path("SADDLEROOM_STATIC_ROOT", default=str(DATA_DIR / "static"))
    _static_storage = "whitenoise.storage.CompressedManifestStaticFilesStorage"
else:
    _static_storage = "django.contrib.staticfiles.storage.StaticFilesStorage"
    WHITENOISE_USE_FINDERS = True
    WHITENOISE_AUTOREFRESH = DEBUG
WHITENOISE_ALLOW_ALL_ORIGINS = False
# Photos: never served as they lie there, only through a view that asks who wants them.
MEDIA_ROOT = env.str("SADDLEROOM_PHOTOS", default=str(DATA_DIR / "photos"))
# Uploaded logs between the steps of their import; every web process must see the same directory.
IMPORT_DIR = env.str("SADDLEROOM_IMPORTS", default=str(DATA_DIR / "imports"))
BACKUP_DIR = env.str("SADDLEROOM_BACKUPS", default=str(DATA_DIR / "backups"))
_photo_storage = env.str("SADDLEROOM_PHOTO_STORAGE", default="")
STORAGES = {
    "default": {
        "BACKEND": _photo_storage or "django.core.files.storage.FileSystemStorage",
        "OPTIONS": env.json("SADDLEROOM_PHOTO_STORAGE_OPTIONS", default={})
        if _photo_storage
        else {"file_permissions_mode": 0o600, "directory_permissions_mode": 0o700},
    },
    "staticfiles": {"BACKEND": _static_storage},
}

MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"
DATA_UPLOAD_MAX_MEMORY_SIZE = 1_000_000
DATA_UPLOAD_MAX_NUMBER_FIELDS = 400
FILE_UPLOAD_HANDLERS = [
    "django.core.files.uploadhandler.MemoryFileUploadHandler",
    "shop.uploads.CappedUploadHandler",
]

# Letters go to the console unless told otherwise: nothing leaves the shop by itself.
_email = env.email_url("SADDLEROOM_EMAIL_URL", default="consolemail://")
vars().update(_email)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = env.str("SADDLEROOM_EMAIL_FROM", default="shop@localhost")

# Only the shop's own files, ever. The hash is that of the empty string: it lets plotly.js add one empty
# style element, which it fills through the style sheet's own interface, and nothing else inline.
EMPTY_STYLE = "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF, EMPTY_STYLE],
        "img-src": [SELF, "data:", "blob:"],
        "connect-src": [SELF],
        "worker-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
        "object-src": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_HTTPONLY = True
if PRODUCTION:
    SECURE_SSL_REDIRECT = env.bool("SADDLEROOM_HTTPS_REDIRECT", default=True)
    SECURE_REDIRECT_EXEMPT = [r"^health/$", r"^ready/$"]  # asked from inside, past the proxy
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_HSTS_SECONDS = 31_536_000
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True
    # A browser takes these names only over HTTPS, for this host alone and its whole site.
    SESSION_COOKIE_NAME = "__Host-sessionid"
    CSRF_COOKIE_NAME = "__Host-csrftoken"

# Who is served what is kept out of the log; shop/logs.py says how.
LOG = env.str("SADDLEROOM_LOG", default="json" if PRODUCTION else "quiet")
try:
    LOGGING = logging_of(LOG)
except ValueError as error:
    raise ImproperlyConfigured(str(error)) from error
