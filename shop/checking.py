"""Saving what was checked, with the database's own constraints asked once and not one by one."""

from collections.abc import Collection, Sequence
from typing import TypeVar

from django.db import IntegrityError, models, transaction

Record = TypeVar("Record", bound=models.Model)


def save_checked(record: models.Model, *, held: Collection[str] = ()) -> None:
    """Save a new record as ``full_clean()`` and ``save()`` would, in a tenth of the queries.

    ``held`` names relations whose other end is at hand, so that nobody need look whether it is there.

    Raises
    ------
    ValidationError
        Naming the field that is impossible.
    """
    _check([record], held)
    try:
        with transaction.atomic():
            record.save()
    except IntegrityError:
        record.full_clean()  # says which figure it is
        raise


def create_checked(records: Sequence[Record], *, held: Collection[str] = ()) -> list[Record]:
    """The same for several records of one table, by one statement; their ``save`` is not called.

    Raises ``ValidationError`` as :func:`save_checked` does.
    """
    _check(records, held)
    if not records:
        return []
    try:
        with transaction.atomic():
            return type(records[0])._default_manager.bulk_create(records)
    except IntegrityError:
        for record in records:
            record.full_clean(validate_unique=False)
        raise


def _check(records: Sequence[models.Model], held: Collection[str]) -> None:
    for record in records:
        record.clean_fields(exclude=held)
        record.clean()
