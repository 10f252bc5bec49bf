"""A new record is added once, however often its form is sent.

The form carries a number made with it, and the record keeps the number. The same form sent again, by a
double click or after an answer that was lost, is answered as the first time. Where it was changed before
it was sent again, both stand: the record as it was saved, and the form with what was typed.
"""

import math
from collections.abc import Callable
from typing import Any
from uuid import UUID, uuid4

from django.db import IntegrityError, models, transaction
from django.http import QueryDict

from shop.editing import Edit, Forms, meanings


def add_record(
    data: QueryDict | None,
    new: models.Model,
    build: Callable[[QueryDict | None, Any], Forms],
    save: Callable[[Forms], object],
    address: Callable[[Any], str],
) -> Edit:
    """Show the forms that ``build`` makes of a ``new`` record, or ``save`` them where all are valid.

    ``address`` tells where a record of this kind is shown.
    """
    typed = build(data, new)
    if data is None:
        return Edit(typed, form_uuid=str(uuid4()))
    number = _number(data)
    invalid = [form for form in typed if not form.is_valid()]
    # After the check: what that saw as taken may be this very form's.
    first = _added_by(number, new)
    if first is None and invalid:
        return Edit(typed, status=422, form_uuid=str(number or uuid4()))
    if first is None:
        try:
            with transaction.atomic():
                new.form_uuid = number  # type: ignore[attr-defined]
                save(typed)
            return Edit(typed, saved=True, changed=True)
        except IntegrityError:
            first = _added_by(number, new)
            if first is None:
                raise
    standing = build(None, first)
    # What this person may say of a new record, and no longer of one that stands, counts here as well.
    if _alike(meanings(typed), meanings(standing, fixed_too=True)):
        return Edit(standing, saved=True, changed=True)
    return Edit(
        typed, status=409, form_uuid=str(uuid4()), first=str(first), first_at=address(first)
    )


def _number(data: QueryDict) -> UUID | None:
    try:
        return UUID(data.get("uuid", ""))
    except ValueError:
        return None


def _added_by(number: UUID | None, new: models.Model) -> models.Model | None:
    """The record that this very form has added."""
    if number is None:
        return None
    return type(new)._default_manager.filter(form_uuid=number).first()


def _alike(mine: dict[str, Any], theirs: dict[str, Any]) -> bool:
    """Whether two forms mean the same; a length in its box has six figures."""

    def same(one: Any, other: Any) -> bool:
        if isinstance(one, float) and isinstance(other, float):
            return math.isclose(one, other, rel_tol=1e-5, abs_tol=1e-9)
        return bool(one == other)

    return all(same(mine[name], theirs[name]) for name in mine if name in theirs)
