"""Two people who edit one record: the second is shown both versions, and nothing is overwritten.

The form carries the record's version and, field by field, what it showed. On saving, in one transaction,
the version is claimed and the record compared with what was shown. Fields that only one of the two
changed need no question; those that both changed are asked about, one by one. Only fields that were
changed are written, so an unchanged form writes nothing.
"""

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models, transaction
from django.db.models import F
from django.http import QueryDict
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from shop.fields import MeasureField
from shop.figures import moment_words
from shop.named_forms import ModelForm
from shop.phrases import listed

MINE, THEIRS = "mine", "theirs"
HISTORY_READ = 200
EMPTY = gettext_noop("nothing")
UNCHANGED = gettext_noop("Nothing was changed.")

Forms = Sequence[ModelForm]


@dataclass(frozen=True)
class Asked:
    """A field that two people changed: what each made of it, who was first, and when."""

    name: str
    label: str
    theirs: str
    mine: str
    changed: str


@dataclass
class Edit:
    """What came of an edit: ``saved``, or forms to show, with ``status`` and what is to be asked."""

    forms: Forms
    status: int = 200
    saved: bool = False
    changed: bool = False
    version: int = 0
    seen: str = ""
    asked: dict[str, Asked] = field(default_factory=dict)
    taken: list[str] = field(default_factory=list)
    #: Of a record that is added: the form's number, and what the same form has added before.
    form_uuid: str = ""
    first: str = ""
    first_at: str = ""

    @property
    def asked_links(self) -> SafeString:
        """What both changed, each a link to its question."""
        links = [
            format_html('<a href="#keep-{}">{}</a>', name, ask.label)
            for name, ask in self.asked.items()
        ]
        return mark_safe(listed(links))  # noqa: S308  each is escaped above


def saved_words(name: str) -> str:
    return _("%(name)s is saved.") % {"name": name}


def edit_record(
    data: QueryDict | None,
    record: models.Model,
    build: Callable[[QueryDict | None, Any], Forms],
    lock: Callable[[], models.Model],
) -> Edit:
    """Show, or save, the forms that ``build`` makes of a record with a ``version``.

    ``lock`` fetches the record as it stands, locked for the transaction that it is called in.
    """
    if data is None:
        shown = build(None, record)
        return Edit(shown, version=_version(record), seen=_as_json(_shown(shown)))
    seen = _seen(data)
    data, unanswered = _choices_made(data, seen)
    typed = build(data, record)
    invalid = [form for form in typed if not form.is_valid()]
    if not invalid and not unanswered:
        return _save(data, typed, seen, build, lock)
    return Edit(
        typed,
        status=422 if invalid else 409,
        version=_number(data.get("version")),
        seen=data.get("seen", ""),
        asked=_asked(typed, unanswered, seen or {}),
    )


def _save(
    data: QueryDict,
    typed: Forms,
    seen: dict[str, Any] | None,
    build: Callable[[QueryDict | None, Any], Forms],
    lock: Callable[[], models.Model],
) -> Edit:
    """Write the fields that were changed, unless somebody else changed the record meanwhile."""
    mine = meanings(typed)
    if seen is not None and not _differing(mine, _meant(typed, seen)):
        return Edit(typed, saved=True)
    with transaction.atomic():
        record = lock()
        now = build(None, record)
        theirs = meanings(now)
        if seen is None:  # whatever differs may have been changed by either
            moved = wanted = _differing(mine, theirs)
        else:
            base = _meant(typed, seen)
            moved, wanted = _differing(theirs, base), _differing(mine, base)
        if not moved and _claim(record, _number(data.get("version"))):
            _write(typed, now, wanted)
            return Edit(typed, saved=True, changed=bool(wanted))
    return _both_versions(data, typed, now, moved, wanted, build, record)


def _claim(record: models.Model, version: int) -> bool:
    """Count this edit: on the version that the form was opened on, or, since nothing that it shows has
    moved, on the one that the locked record has now."""
    rows = type(record)._default_manager.filter(pk=record.pk)
    for standing in dict.fromkeys((version, _version(record))):
        if rows.filter(version=standing).update(version=F("version") + 1):
            record.version = standing + 1  # type: ignore[attr-defined]
            return True
    return False


def _write(typed: Forms, now: Forms, wanted: set[str]) -> None:
    """Put what was changed on the record as it stands, each model saved once and with its history."""
    for form, current in zip(typed, now, strict=True):
        names = [name for name in form.fields if form.add_prefix(name) in wanted]
        for name in names:
            setattr(current.instance, name, form.cleaned_data[name])
        if names:
            current.instance.save()


def _both_versions(
    data: QueryDict,
    typed: Forms,
    now: Forms,
    moved: set[str],
    wanted: set[str],
    build: Callable[[QueryDict | None, Any], Forms],
    record: models.Model,
) -> Edit:
    """The form again, on the record as it stands, with what was typed kept and what differs asked."""
    mine, theirs, standing = meanings(typed), meanings(now), _shown(now)
    clash = {name for name in moved & wanted if mine[name] != theirs[name]}
    merged = data.copy()
    for name in set(standing) - wanted:
        _put(merged, name, standing[name])
    again = build(merged, record)
    for form in again:
        form.is_valid()
    labels = {bound.html_name: str(bound.label) for bound in _fields(again)}
    return Edit(
        again,
        status=409,
        version=_version(record),
        seen=_as_json(standing),
        asked=_asked(again, clash, standing),
        taken=[labels[name] for name in labels if name in moved - clash],
    )


# What a form shows, and what it means


def _fields(shown: Forms) -> Iterator[forms.BoundField]:
    """Every field that this person may change."""
    for form in shown:
        for bound in form:
            if not bound.field.disabled:
                yield bound


def _shown(shown: Forms) -> dict[str, Any]:
    """What stands in each box, as it would be sent."""
    return {bound.html_name: bound.value() for bound in _fields(shown)}


def _meaning(of: forms.Field, raw: Any) -> Any:
    """What a box means, so that ``1/2 in`` and ``12.7 mm`` are one, and line ends do not matter."""
    if isinstance(of, forms.BooleanField):
        return bool(raw)
    if isinstance(raw, list):
        return tuple(str(item) for item in raw)
    text = "" if raw is None else str(raw).replace("\r\n", "\n").strip()
    if isinstance(of, forms.ModelChoiceField):
        return text
    try:
        value = of.to_python(text)
    except ValidationError:
        return text
    if isinstance(value, list):
        return tuple(value)
    return "" if value is None else value


def meanings(shown: Forms, *, fixed_too: bool = False) -> dict[str, Any]:
    """What each box means, so that two forms can be compared; of those nobody may change if told so."""
    boxes = [bound for form in shown for bound in form] if fixed_too else _fields(shown)
    return {bound.html_name: _meaning(bound.field, bound.value()) for bound in boxes}


def _meant(shown: Forms, raw: dict[str, Any]) -> dict[str, Any]:
    """The meaning of what was shown; a field that was not shown then is nobody's change now."""
    return {
        bound.html_name: _meaning(bound.field, raw.get(bound.html_name)) for bound in _fields(shown)
    }


def _differing(some: dict[str, Any], others: dict[str, Any]) -> set[str]:
    return {name for name in some if name in others and some[name] != others[name]}


def _as_json(shown: dict[str, Any]) -> str:
    return json.dumps(shown, cls=DjangoJSONEncoder, ensure_ascii=False)


def _seen(data: QueryDict) -> dict[str, Any] | None:
    """What the form had shown; None where it does not say, and then every difference is asked."""
    try:
        seen = json.loads(data.get("seen", ""))
        json.dumps(
            seen, ensure_ascii=False
        ).encode()  # half of a pair of surrogates cannot be shown
    except (ValueError, RecursionError):
        return None
    return seen if isinstance(seen, dict) else None


def _version(record: models.Model) -> int:
    version: int = record.version  # type: ignore[attr-defined]
    return version


def _number(text: str | None) -> int:
    """A version as it came; −1, which no record has, where it is none."""
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 9 else -1


def _put(data: QueryDict, name: str, raw: Any) -> None:
    """Send ``raw`` as the form would."""
    if raw is False:
        data.pop(name, None)
    elif isinstance(raw, list):
        data.setlist(name, raw)
    else:
        data[name] = "on" if raw is True else str("" if raw is None else raw)


# What is asked, and the answers


def _choices_made(data: QueryDict, seen: dict[str, Any] | None) -> tuple[QueryDict, set[str]]:
    """The answers put into the boxes, and the names of those that were not given."""
    answered, unanswered = data.copy(), set()
    for name in data.getlist("asked"):
        choice = data.get(f"keep-{name}")
        if seen is None or name not in seen:
            continue
        if choice == THEIRS:
            _put(answered, name, seen[name])
        elif choice != MINE:
            unanswered.add(name)
    return answered, unanswered


def _asked(shown: Forms, names: set[str], theirs: dict[str, Any]) -> dict[str, Asked]:
    asked = {}
    for bound in _fields(shown):
        if bound.html_name in names:
            asked[bound.html_name] = Asked(
                name=bound.html_name,
                label=str(bound.label),
                theirs=_words(bound.field, theirs.get(bound.html_name)),
                mine=_words(bound.field, bound.value()),
                changed=_who_and_when(bound),
            )
    return asked


def _words(of: forms.Field, raw: Any) -> str:
    """What a box says, for reading."""
    if isinstance(of, forms.BooleanField):
        return _("yes") if raw else _("no")
    text = "" if raw is None else str(raw).strip()
    if not text:
        return _(EMPTY)
    if isinstance(of, MeasureField):
        value = _meaning(of, raw)
        return of.show(value) if isinstance(value, float) else text
    if isinstance(of, forms.ModelChoiceField):
        assert of.queryset is not None  # noqa: S101  every such field here has one
        chosen = of.queryset.filter(**{of.to_field_name or "pk": text}).first()
        return of.label_from_instance(chosen) if chosen else text
    if isinstance(of, forms.ChoiceField):
        return str(dict(list(of.choices)).get(text, text))  # type: ignore[arg-type]
    return text


def _who_and_when(bound: forms.BoundField) -> str:
    """Who gave a field the value that it has, and when, from the record's history; empty if unknown."""
    made = last_change(cast(ModelForm, bound.form).instance, bound.name)
    if made is None:
        return ""
    person, moment = made
    when = moment_words(moment)
    if person:
        return _("changed by %(person)s at %(when)s") % {"person": person, "when": when}
    return _("changed at %(when)s") % {"when": when}


def last_change(record: models.Model, name: str) -> tuple[str, datetime] | None:
    """Who last changed a field of a record, and when."""
    column = record._meta.get_field(name).attname  # type: ignore[union-attr]
    history = record.history.select_related("history_user")  # type: ignore[attr-defined]
    rows = list(history.order_by("-history_date", "-history_id")[:HISTORY_READ])
    for newer, older in zip(rows, [*rows[1:], None], strict=True):
        if older is None or getattr(newer, column) != getattr(older, column):
            person = newer.history_user
            return (
                person.get_short_name() or person.username if person else ""
            ), newer.history_date
    return None
