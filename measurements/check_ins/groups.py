"""The boxes of the check-in form, grouped by how they are read and in an instrument's own order."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from instruments.measuring import (
    ACTION,
    HUMIDITY,
    MARGINS,
    RELIEF,
    RISE,
    SADDLE,
    TEMPERATURE,
    TREBLE_FIRST,
    groups_in_order,
    places_in_order,
)
from measurements.models import SIDES

ROOM = "room"
TITLES = {
    RELIEF: gettext_noop("Relief"),
    ACTION: gettext_noop("Action"),
    SADDLE: gettext_noop("Saddle"),
    RISE: gettext_noop("Bridge rise"),
    MARGINS: gettext_noop("String to edge at the joint"),
    ROOM: gettext_noop("The room"),
}


@dataclass(frozen=True)
class Group:
    """Boxes that are read in one way, as rows; ``key`` names the hint that shows how."""

    key: str
    title: str
    rows: list[list[forms.BoundField]]

    @property
    def is_single(self) -> bool:
        return sum(map(len, self.rows)) == 1


def reading_groups(form: forms.Form, order: Sequence[str], frets: Sequence[int]) -> list[Group]:
    """Groups of a check-in form's boxes; humidity and temperature, where neighbours, are the room."""
    found: list[Group] = []
    for word in groups_in_order(order):
        rows = [[form[name] for name in row] for row in _names(word, order, frets)]
        if word in (HUMIDITY, TEMPERATURE):
            if found and found[-1].key == ROOM:
                found[-1].rows[-1].extend(rows[0])
                continue
            word = ROOM
        found.append(Group(word.replace(" ", "-"), _(TITLES[word]), rows))
    return found


def _names(word: str, order: Sequence[str], frets: Sequence[int]) -> Iterator[list[str]]:
    sides = tuple(reversed(SIDES)) if TREBLE_FIRST in order else SIDES
    if word == ACTION:
        for row in places_in_order(order, frets):
            yield [f"action_{fret}_{side}_mm" for fret, side in row]
    elif word == SADDLE:
        yield [f"saddle_{side}_mm" for side in sides]
    elif word == MARGINS:
        yield [f"margin_{side}_mm" for side in sides]
    else:
        yield [
            {
                RELIEF: "relief_mm",
                RISE: "bridge_rise_mm",
                HUMIDITY: "humidity_pct",
                TEMPERATURE: "temperature_c",
            }[word]
        ]
