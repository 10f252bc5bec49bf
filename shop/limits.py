"""What a column may hold: asked in forms, and by the database as well."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy


def between(low: float, high: float) -> list[MinValueValidator | MaxValueValidator]:
    return [MinValueValidator(low), MaxValueValidator(high)]


def in_range(name: str, low: float, high: float) -> models.CheckConstraint:
    """A constraint that a figure lies in a range, or is empty: in the database as well as in forms."""
    return models.CheckConstraint(
        condition=Q(**{f"{name}__isnull": True}) | Q(**{f"{name}__range": (low, high)}),
        name=f"%(class)s_{name}_in_range",
        violation_error_message=format_lazy(
            gettext_lazy("{name} must lie between {low} and {high}."),
            name=name,
            low=f"{low:g}",
            high=f"{high:g}",
        ),
    )


def one_of(name: str, choices: type[models.TextChoices]) -> models.CheckConstraint:
    """A constraint that a word is one of its choices."""
    return models.CheckConstraint(
        condition=Q(**{f"{name}__in": choices.values}),
        name=f"%(class)s_{name}_is_known",
        violation_error_message=format_lazy(
            gettext_lazy("{name} must be one of {choices}."),
            name=name,
            choices=", ".join(choices.values),
        ),
    )
