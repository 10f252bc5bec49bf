"""What the log says: one line a request, one an error; and never whom or what it was about.

A line names the route and not the address, the role and not the person. Of an error it keeps the kinds
of exception and where they were raised, not what they said, since a database's complaint quotes the row.
What other packages log keeps its wording, and of the values put into it only numbers.
"""

import errno
import json
import logging
import re
import time
from collections.abc import Callable, Iterator
from contextvars import ContextVar
from datetime import UTC, datetime
from pathlib import Path
from traceback import extract_tb
from typing import Any
from uuid import uuid4

from django.db import connection
from django.http import HttpRequest, HttpResponse

log = logging.getLogger(__name__)

HEADER = "X-Request-ID"
#: A proxy's own number is kept where it looks like one: hexadecimal, with or without hyphens.
REQUEST_ID = re.compile(r"[0-9A-Fa-f-]{16,64}")
METHODS = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}
#: Asked every few seconds; their usual answers are not worth a line, nor is "not ready" an error.
PROBES = {"health", "ready"}
OURS = ("shop", "instruments", "measurements", "geometry")
PLACES = re.compile(r"%(?:\([^)]*\))?[#0 +-]*(?:\*|\d+)?(?:\.(?:\*|\d+))?[a-zA-Z]")
BASE_DIR = Path(__file__).resolve().parent.parent

_request_id: ContextVar[str] = ContextVar("request_id", default="")


class RequestLog:
    """Gives every request a number, in and out by ``X-Request-ID``, and one line in the log."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get(HEADER, "")
        number = given if REQUEST_ID.fullmatch(given) else uuid4().hex
        mark = _request_id.set(number)
        try:
            response = self._answer(request) if log.isEnabledFor(logging.INFO) else None
            if response is None:
                response = self.get_response(request)
        finally:
            _request_id.reset(mark)
        response[HEADER] = number
        return response

    def _answer(self, request: HttpRequest) -> HttpResponse:
        queries = 0

        def count(execute: Callable[..., Any], *arguments: Any) -> Any:
            nonlocal queries
            queries += 1
            return execute(*arguments)

        began, worked = time.perf_counter(), time.thread_time()
        with connection.execute_wrapper(count):
            response = self.get_response(request)
        entry = {
            "method": request.method if request.method in METHODS else "other",
            "route": route_of(request),
            "status": response.status_code,
            "ms": round(1000 * (time.perf_counter() - began), 1),
            "cpu_ms": round(1000 * (time.thread_time() - worked), 2),  # the rest was waiting
            "queries": queries,
            "role": role_of(request),
        }
        if entry["route"] not in PROBES or response.status_code != 200:
            words = "{method} {route} {status} {ms} ms {queries} queries {role}".format(**entry)
            log.info(words, extra={"entry": entry})
        return response


def route_of(request: HttpRequest) -> str:
    """The name of the address asked for; "-" where it has none: a file, or nothing of ours."""
    match = request.resolver_match
    return (match.view_name if match else "") or "-"


def role_of(request: HttpRequest) -> str:
    """The roles of whoever asked, as far as the answer needed to know them; no query of its own."""
    user = getattr(request, "_cached_user", None)
    if user is None:
        return "-"
    if not user.is_authenticated:
        return "nobody"
    return "+".join(sorted(getattr(user, "_roles", ()))) or "signed in"


class LeaveOutProbes(logging.Filter):
    """Drops the framework's error line for a readiness check that answered "not ready"."""

    def filter(self, record: logging.LogRecord) -> bool:
        request = getattr(record, "request", None)
        return not (
            record.name == "django.request"
            and getattr(record, "status_code", 0) == 503
            and isinstance(request, HttpRequest)
            and route_of(request) in PROBES
        )


def words_of(record: logging.LogRecord) -> str:
    """What a record says, without what a person may have typed or asked for."""
    first, _, rest = record.name.partition(".")
    if first in OURS:
        return record.getMessage()
    request = getattr(record, "request", None)
    if first == "django" and isinstance(request, HttpRequest):
        return f"{route_of(request)} answered {getattr(record, 'status_code', 'badly')}"
    if record.name.startswith("django.security"):
        return f"refused: {rest}"
    return _without_values(record)


def _without_values(record: logging.LogRecord) -> str:
    """A record's wording with numbers put in and anything else as "…"."""
    words = str(record.msg)
    if words.startswith("Invalid request"):  # the server quotes address and request line
        return "Invalid request"
    values = iter(record.args if isinstance(record.args, tuple) else ())

    def put(place: re.Match[str]) -> str:
        value = next(values, None)
        return str(value) if isinstance(value, int | float) else "…"

    return PLACES.sub(put, words.splitlines()[0] if words else "")


def errors_of(error: BaseException | None) -> Iterator[dict[str, Any]]:
    """The exception and those behind it: kind, the system's code if any, and where it passed through."""
    seen: set[int] = set()
    while error is not None and id(error) not in seen:
        seen.add(id(error))
        found: dict[str, Any] = {"kind": type(error).__name__}
        if isinstance(error, OSError) and error.errno is not None:
            found["code"] = errno.errorcode.get(error.errno, str(error.errno))
        frames = extract_tb(error.__traceback__, limit=-20)
        found["at"] = [f"{_short(each.filename)}:{each.lineno} {each.name}" for each in frames]
        yield found
        hidden = error.__suppress_context__
        error = error.__cause__ or (None if hidden else error.__context__)


def _short(file: str) -> str:
    path = Path(file)
    if "site-packages" in path.parts:
        return "/".join(path.parts[path.parts.index("site-packages") + 1 :])
    return str(path.relative_to(BASE_DIR)) if path.is_relative_to(BASE_DIR) else path.name


class Json(logging.Formatter):
    """A record as one line of JSON; a request's entries stand beside the words."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "words": words_of(record),
            "request": _request_id.get(),
        }
        line |= getattr(record, "entry", {})
        if record.exc_info and record.exc_info[1] is not None:
            line["errors"] = list(errors_of(record.exc_info[1]))
        return json.dumps(line, ensure_ascii=True)


class Line(logging.Formatter):
    """The same for reading: one line, and below it one for every place an error passed through."""

    def format(self, record: logging.LogRecord) -> str:
        moment = datetime.fromtimestamp(record.created).astimezone()
        number = _request_id.get() or "-"
        words = " ".join(words_of(record).split())
        parts = [f"{moment:%Y-%m-%d %H:%M:%S} {record.levelname} {record.name} {number} {words}"]
        if record.exc_info and record.exc_info[1] is not None:
            for error in errors_of(record.exc_info[1]):
                parts.append(f"  {error['kind']} {error.get('code', '')}".rstrip())
                parts += [f"    at {place}" for place in error["at"]]
        return "\n".join(parts)


def logging_of(kind: str) -> dict[str, Any]:
    """Django's LOGGING: ``json`` or ``line`` with every request, ``quiet`` warnings and worse alone.

    Raises
    ------
    ValueError
        If ``kind`` is none of the three.
    """
    if kind not in ("json", "line", "quiet"):
        raise ValueError(f"SADDLEROOM_LOG is json, line or quiet, not {kind!r}.")
    plain = {"handlers": [], "propagate": True}
    ours = "WARNING" if kind == "quiet" else "INFO"
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"ours": {"()": "shop.logs.Json" if kind == "json" else "shop.logs.Line"}},
        "filters": {"probes": {"()": "shop.logs.LeaveOutProbes"}},
        "handlers": {
            "console": {
                "class": "logging.StreamHandler",
                "formatter": "ours",
                "filters": ["probes"],
            }
        },
        "root": {"handlers": ["console"], "level": "WARNING"},
        "loggers": {
            # The framework's own handlers print addresses and send forms by letter.
            "django": {**plain, "level": "WARNING"},
            "django.server": {**plain, "level": "ERROR"},
            "django.request": {**plain, "level": "ERROR"},  # refusals have their request's line
            __name__: {**plain, "level": ours},
            "shop.sign_in": {**plain, "level": ours},
        },
    }
