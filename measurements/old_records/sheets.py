"""The four sheets of an export of the whole shop: which columns, how a cell is written and read.

Columns come from the models themselves, so that a new field is exported as soon as it is there. Lengths
are in mm with every digit, moments in UTC, records are named by customer's code, tag, UUID and username.
"""

import json
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext as _

from instruments.models import Instrument, NeckJoint
from measurements.models import ActionReading, CheckIn, Work
from measurements.old_records.columns import impossible, none_of, quoted, too_long
from shop.models import Customer

NUMBER = re.compile(r"[+-]?(?:\d{1,20}(?:\.\d{0,340})?|\.\d{1,340})(?:[eE][+-]?\d{1,3})?")
WHOLE = re.compile(r"([+-]?\d{1,9})(?:\.0*)?")
ACTION = re.compile(r"action_([1-9][0-9]?)_(bass|treble)_mm")
YES = frozenset(("yes", "true", "1"))
NO = frozenset(("no", "false", "0"))
#: Keys, counts of edits and the numbers of forms belong to one database; an import is a thing of the shop
#: that made it.
LEFT_OUT = {"id", "version", "form_uuid", "imported_in"}
#: References, by the name of their column: what stands in the cell.
REFERENCES = {
    "customer": "customer",  # the customer's code
    "instrument": "tag",
    "measured_by": "measured_by",  # usernames
    "done_by": "done_by",
    "voided_by": "voided_by",
    "replaces": "replaces",  # the UUID of the check-in
}
JOINT = "joint_"
LOG_COLUMN = "checked_in_on"  # every log has it, no export
LONGEST_JSON = 20_000
Cell = str | float | int | None


@dataclass(frozen=True)
class Column:
    """One column: its name in the file and the model's field that it holds."""

    name: str
    field: "models.Field[Any, Any]"
    limits: tuple[float, float] | None = None

    @property
    def key(self) -> str:
        return self.field.name

    def cell(self, value: Any) -> Cell:
        """The value as a cell: numbers stay numbers, all else is text."""
        if value is None:
            return None
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, datetime):
            return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
        if isinstance(self.field, models.JSONField):
            return json.dumps(value, ensure_ascii=False) if value else None
        return value if isinstance(value, float | int) else str(value)

    def read(self, text: str) -> Any:
        """The value of a cell's text. Raises ``ValueError`` saying what would be right."""
        if isinstance(self.field, models.CharField | models.TextField):
            return text if not text and self.field.blank else self._words(text)
        if not text.strip():
            return self._nothing()
        value = _READERS[type(self.field)](text.strip())
        if self.limits is not None and not self.limits[0] <= value <= self.limits[1]:
            raise ValueError(impossible(value, self.limits, ""))
        if isinstance(self.field, models.JSONField) and type(value) is not self.field.default:
            raise ValueError(
                _("%(text)s is not JSON for a list") % {"text": quoted(text)}
                if self.field.default is list
                else _("%(text)s is not JSON for an object") % {"text": quoted(text)}
            )
        return value

    def _words(self, text: str) -> str:
        if self.field.max_length and len(text) > self.field.max_length:
            raise ValueError(too_long(text, self.field.max_length))
        if "\0" in text:
            raise ValueError(_("the text holds a zero byte; take it out"))
        if self.field.choices:
            return _choice(text, [value for value, _label in self.field.choices])
        try:
            return str(self.field.clean(text, None))
        except ValidationError as error:
            raise ValueError(f"{quoted(text)}: {' '.join(error.messages)}") from None

    def _nothing(self) -> Any:
        if self.field.null or getattr(self.field, "auto_now_add", False):
            return None
        if self.field.has_default():
            return self.field.get_default()
        raise ValueError(_("is empty; every row needs it"))


@dataclass(frozen=True)
class Sheet:
    """One sheet: its columns in order, references by their column's name, and what tells it apart."""

    name: str
    model: type[models.Model]
    columns: list[Column]
    references: list[str]
    needed: tuple[str, ...]
    joint: list[Column] = field(default_factory=list)

    @property
    def names(self) -> list[str]:
        own = [column.name for column in self.columns]
        first = [name for name in self.needed if name in own or name in self.references]
        rest = [name for name in (*self.references, *own) if name not in first]
        return [*first, *rest, *(column.name for column in self.joint)]


def _choice(text: str, known: list[str]) -> str:
    value = text.strip().lower()
    if value not in known:
        raise ValueError(none_of(text, known))
    return value


def _number(text: str) -> float:
    plain = text.replace("−", "-")
    if "," in plain and "." not in plain:
        plain = plain.replace(",", ".")
    if not NUMBER.fullmatch(plain) or not math.isfinite(value := float(plain)):
        raise ValueError(
            _("%(text)s is not a plain number; write it like 2.4") % {"text": quoted(text)}
        )
    return value


def _whole(text: str) -> int:
    match = WHOLE.fullmatch(text)
    if match is None:
        raise ValueError(_("%(text)s is not a whole number") % {"text": quoted(text)})
    return int(match[1])


def _yes(text: str) -> bool:
    if text.lower() not in YES | NO:
        raise ValueError(_("%(text)s is neither yes nor no") % {"text": quoted(text)})
    return text.lower() in YES


def _moment(text: str) -> datetime:
    try:
        value = datetime.fromisoformat(text)
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
    except (ValueError, OverflowError):
        raise ValueError(
            _("%(text)s is no moment; write it in UTC like 2026-03-31T12:00:00Z")
            % {"text": quoted(text)}
        ) from None


def _uuid(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        raise ValueError(no_uuid(text)) from None


def no_uuid(text: str) -> str:
    return _("%(text)s is no UUID; leave the cell as exported") % {"text": quoted(text)}


def _json(text: str) -> Any:
    def refuse(name: str) -> None:
        raise ValueError(name)

    try:
        value = json.loads(text[: LONGEST_JSON + 1], parse_constant=refuse)
    except (ValueError, RecursionError):
        raise ValueError(
            _("%(text)s is not JSON; leave the cell as exported") % {"text": quoted(text)}
        ) from None
    parts = [*value, *value.values()] if isinstance(value, dict) else value
    for part in parts if isinstance(parts, list) else [parts]:
        if not all(_is_plain(item) for item in (part if isinstance(part, list) else [part])):
            raise ValueError(
                _("%(text)s holds more than plain words and numbers") % {"text": quoted(text)}
            )
    return value


def _is_plain(item: Any) -> bool:
    if isinstance(item, float | int):
        return math.isfinite(item) and abs(item) < 1e9
    if isinstance(item, str):  # what a database cannot hold: a zero, half of a pair
        return not any(sign == "\0" or "\ud800" <= sign <= "\udfff" for sign in item)
    return item is None


_READERS: dict[type, Any] = {
    models.FloatField: _number,
    models.PositiveSmallIntegerField: _whole,
    models.PositiveIntegerField: _whole,
    models.BooleanField: _yes,
    models.DateTimeField: _moment,
    models.UUIDField: _uuid,
    models.JSONField: _json,
}


def _limits(model: type[models.Model]) -> dict[str, tuple[float, float]]:
    """What the database itself allows, by field, read from the model's constraints."""
    found: dict[str, tuple[float, float]] = {}
    for constraint in model._meta.constraints:
        for part in getattr(getattr(constraint, "condition", None), "children", ()):
            if isinstance(part, tuple) and part[0].endswith("__range"):
                found[part[0].removesuffix("__range")] = part[1]
    return found


def _columns(model: type[models.Model], prefix: str = "") -> list[Column]:
    limits = _limits(model)
    return [
        Column(prefix + field.name, field, limits.get(field.name))
        for field in model._meta.concrete_fields
        if field.name not in LEFT_OUT and not field.is_relation
    ]


def _sheet(
    name: str, model: type[models.Model], needed: tuple[str, ...], joint: Iterable[Column] = ()
) -> Sheet:
    references = [
        REFERENCES[field.name]
        for field in model._meta.concrete_fields
        if field.is_relation and field.name in REFERENCES
    ]
    return Sheet(name, model, _columns(model), references, needed, list(joint))


#: In the order in which they rest on one another.
SHEETS = {
    sheet.name: sheet
    for sheet in (
        _sheet("customers", Customer, ("code", "name")),
        _sheet("instruments", Instrument, ("tag", "customer"), _columns(NeckJoint, JOINT)),
        _sheet("readings", CheckIn, ("uuid", "tag", "measured_at")),
        _sheet("work", Work, ("uuid", "tag", "kind", "done_at")),
    )
}
ACTION_LIMITS = _limits(ActionReading)["action_mm"]


def sheet_like(header: list[str]) -> str | None:
    """Which sheet of an export a line of column names is the head of, or None."""
    named = set(header)
    for sheet in SHEETS.values():
        if named.issuperset((*sheet.needed, *(column.name for column in sheet.joint[:1]))):
            return None if LOG_COLUMN in named else sheet.name
    return None


def read_action(text: str) -> float:
    """An action reading in mm. Raises ``ValueError``."""
    value = _number(text.strip())
    if not ACTION_LIMITS[0] <= value <= ACTION_LIMITS[1]:
        raise ValueError(impossible(value, ACTION_LIMITS, "mm"))
    return value
