"""Queries compiled once and run again and again, with other figures in their slots.

For the few rows of one instrument, making a query's SQL takes many times as long as running it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from types import MethodType
from typing import Any, Self, TypeVar

from django.db import connection
from django.db.backends.base.operations import BaseDatabaseOperations
from django.db.models import Expression, Field, Model, QuerySet

Row = tuple[Any, ...]


class Slot(Expression):
    """A place in a query for a value that is given when the query is run."""

    def __init__(self, name: str, field: Field[Any, Any]) -> None:
        super().__init__(output_field=field)
        self.name = name

    def as_sql(self, compiler: Any, connection: Any) -> Any:
        return "%s", [self]


Converter = Callable[[Any, Any, Any], Any]


def _of_any_connection(convert: Converter) -> Converter:
    """A converter that asks the connection in use, where Django's is bound to that of one thread."""
    if not isinstance(convert, MethodType):
        return convert
    if not isinstance(convert.__self__, BaseDatabaseOperations):
        return convert
    function = convert.__func__
    return lambda value, expression, in_use: function(in_use.ops, value, expression, in_use)


@dataclass(frozen=True)
class Statement:
    """A compiled query of columns; ``converters`` are those of the database's values, by place.

    One is shared by all threads, so it holds nothing of the connection that it was compiled for.
    """

    sql: str
    params: tuple[Any, ...]
    converters: dict[int, tuple[list[Converter], Any]]

    @classmethod
    def of(cls, queryset: QuerySet[Any, Any]) -> Self:
        """Compile a ``values_list``, for the database that is connected."""
        compiler = queryset.query.get_compiler(connection=connection)
        sql, params = compiler.as_sql()
        columns = [column for column, *_ in compiler.select]
        converters = {
            place: ([_of_any_connection(convert) for convert in converts], expression)
            for place, (converts, expression) in compiler.get_converters(columns).items()
        }
        return cls(sql, tuple(params), converters)

    def fetch(self, **given: Any) -> list[Row]:
        """Rows as the database gives them, each slot filled with the value of its name."""
        params = [
            param.output_field.get_db_prep_value(given[param.name], connection)
            if isinstance(param, Slot)
            else param
            for param in self.params
        ]
        with connection.cursor() as cursor:
            cursor.execute(self.sql, params)
            return list(cursor.fetchall())

    def converted(self, rows: list[Row]) -> list[list[Any]]:
        """The rows with their values as the models' fields have them."""
        found = [list(row) for row in rows]
        for place, (converters, expression) in self.converters.items():
            for row in found:
                for convert in converters:
                    row[place] = convert(row[place], expression, connection)
        return found


T = TypeVar("T", bound=Model)


def only_row(model: type[T]) -> T | None:
    """The row of a table that holds one at most, whose key is 1."""
    names, statement = _only(model, connection.vendor)
    rows = statement.converted(statement.fetch())
    return model.from_db(connection.alias, names, rows[0]) if rows else None


@cache
def _only(model: type[Model], vendor: str) -> tuple[list[str], Statement]:
    names = [field.attname for field in model._meta.concrete_fields]
    return names, Statement.of(model._default_manager.filter(pk=1).values_list(*names))
