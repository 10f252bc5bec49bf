"""Generic string sets and thread pitches, by size and material; figures and sources in ``fixtures/``."""

import json
import re
from dataclasses import dataclass
from functools import cache
from math import pi
from pathlib import Path
from typing import Any

from django.conf import settings

from instruments.models import Strings

KG_PER_LB = 0.45359237  # international yard and pound agreement, 1959
M_PER_INCH = 0.0254  # the same agreement
FIXTURES = Path(settings.BASE_DIR) / "fixtures"


@dataclass(frozen=True)
class SetString:
    """One string of a set: what it is, its mass per length, and where that figure is from.

    ``kind`` is plain, wound or nylon; of nylon the gauge is not on record.
    """

    kind: str
    gauge_in: float | None
    kg_m: float
    note: str
    source: str


@dataclass(frozen=True)
class StringSet:
    """Six strings, treble first, with the tuning they are meant for."""

    key: str
    name: str
    material: str
    strings: tuple[SetString, ...]


@dataclass(frozen=True)
class Thread:
    """A bolt's thread: its size and what one turn advances it. [mm]"""

    size: str
    series: str
    pitch_mm: float
    source: str


def _read(name: str) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((FIXTURES / name).read_text(encoding="utf-8"))
    return data


@cache
def sources() -> dict[str, str]:
    """Where the figures are from, by their key."""
    return {**_read("string_sets.json")["sources"], **_read("threads.json")["sources"]}


@cache
def tuning() -> tuple[str, ...]:
    """The usual tuning, treble first."""
    return tuple(_read("string_sets.json")["tuning"])


@cache
def string_sets() -> dict[str, StringSet]:
    """Every set on record, by its key."""
    data = _read("string_sets.json")
    weights = {(row["kind"], row["gauge_in"]): row for row in data["strings"]}
    found = {}
    for row in data["sets"]:
        if "gauges" in row:
            strings = [
                _steel(weights[kind, gauge], note)
                for (kind, gauge), note in zip(row["gauges"], data["tuning"], strict=True)
            ]
        else:
            strings = [
                SetString("nylon", None, grams / 1000, note, row["source"])
                for grams, note in zip(row["grams_per_m"], data["tuning"], strict=True)
            ]
        found[row["key"]] = StringSet(row["key"], row["name"], row["strings"], tuple(strings))
    return found


def _steel(row: dict[str, Any], note: str) -> SetString:
    kg_m = row["unit_weight_lb_in"] * KG_PER_LB / M_PER_INCH
    return SetString(row["kind"], row["gauge_in"], kg_m, note, str(row["source"]))


def plain_steel_kg_m(diameter_mm: float) -> float:
    """Mass per length of a plain steel string: the density of music wire times its section."""
    density: float = _read("string_sets.json")["plain_steel_kg_m3"]
    return density * pi / 4 * (diameter_mm / 1000) ** 2


#: The set taken where nothing is known of the strings: common practice, no source.
USUAL_SETS = {Strings.STEEL: "light-12-53", Strings.NYLON: "nylon-normal"}


def set_named(text: str, material: str) -> StringSet | None:
    """The set that a free text on an instrument means; None where none fits.

    ``light, bronze``, ``12-53`` and ``.012`` all mean the light set.
    """
    fitting = [one for one in string_sets().values() if one.material == material]
    wanted = text.casefold()
    gauge = re.search(r"(?<!\d)0?\.?0?(1[0-3])(?!\d)", wanted)
    # The longest name first: "extra light" is not "light".
    for one in sorted(fitting, key=lambda one: -len(one.name)):
        weight = one.name.split(", ")[material == Strings.NYLON]
        if weight in wanted or (gauge and gauge[1] in one.key.split("-")):
            return one
    return None


@cache
def threads() -> dict[str, Thread]:
    """Every thread on record, by its size."""
    return {
        row["size"]: Thread(
            row["size"],
            row["series"],
            row["pitch_mm"] if "pitch_mm" in row else 25.4 / row["per_inch"],
            row["source"],
        )
        for row in _read("threads.json")["threads"]
    }
