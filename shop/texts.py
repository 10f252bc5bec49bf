"""Text as people mean it: what cannot be seen and only does harm is taken out before it is kept.

Control characters break lines where there should be none, and marks that turn the direction of writing
make a name read as another one. Nobody types them; they come with text copied from elsewhere. Fields of
this kind drop them at every way in (forms, imports, commands, look-ups), so that no page, PDF, letter or
file has to think of them. What scripts need stays: joiners, and the marks of direction that hold one
place only (Unicode Standard Annex 9, "Implicit Directional Marks").
"""

import re
from typing import TYPE_CHECKING, Any

from django.db import models

_BREAKS = "\x0b\x0c\x85\u2028\u2029"
_INVISIBLE = re.compile(
    "["
    "\x00-\x08\x0e-\x1f\x7f-\x84\x86-\x9f"  # controls (Unicode's general category Cc)
    "\u202a-\u202e\u2066-\u2069"  # embeddings, overrides, isolates (UAX 9, sections 2.1 to 2.4)
    "\u200b\u2060-\u2064\ufeff\ufff9-\ufffb"  # no width, and nothing any script needs
    "\ud800-\udfff"  # halves of pairs: no database or file can hold one
    "\ufdd0-\ufdef\ufffe\uffff"  # never characters (Unicode Standard, section 23.7)
    "]"
)
_LINE = re.compile(f"[\t\r\n{_BREAKS}]+")


def plain_prose(text: str) -> str:
    """Text of several lines without what cannot be seen."""
    return _INVISIBLE.sub("", re.sub(f"[{_BREAKS}]", "\n", text))


def plain_line(text: str) -> str:
    """Text of one line: breaks become spaces, ends are trimmed."""
    return _INVISIBLE.sub("", _LINE.sub(" ", text)).strip()


def _as_kept_before(found: tuple[str, str, Any, Any], kind: str) -> tuple[str, str, Any, Any]:
    """To a migration the field is Django's own: the column is the same."""
    name, _, args, kwargs = found
    return name, f"django.db.models.{kind}", args, kwargs


if TYPE_CHECKING:  # only the type checker knows fields by what they hold; text is nowhere null
    _CharField = models.CharField[str, str]
    _TextField = models.TextField[str, str]
else:
    _CharField = models.CharField
    _TextField = models.TextField


class LineField(_CharField):
    """A line of text, kept as :func:`plain_line` gives it."""

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        return plain_line(text) if isinstance(text, str) else text

    def deconstruct(self) -> Any:
        return _as_kept_before(super().deconstruct(), "CharField")


class ProseField(_TextField):
    """Text of several lines, kept as :func:`plain_prose` gives it."""

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        return plain_prose(text) if isinstance(text, str) else text

    def deconstruct(self) -> Any:
        return _as_kept_before(super().deconstruct(), "TextField")
