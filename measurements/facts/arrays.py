"""From rows of facts to the arrays that geometry takes: the one bridge from models to numbers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np

from geometry.action import Neck
from geometry.balance import GaugeUncertainty
from geometry.constants import LIFT_NOISE_MM
from geometry.joint import shim_tilt
from geometry.moisture import equilibrium_moisture_content
from geometry.repeats import visit_u
from instruments.defaults import USUAL_DIMENSIONS, joint_dimension
from instruments.models import TURNED, JointKind, Strings
from measurements.facts.latest import latest
from measurements.facts.provisional import A_MOMENT, Provisional, kept, with_reading
from measurements.facts.rows import (
    REPEAT_COLUMNS,
    Floats,
    Ints,
    Rows,
    day_number,
    end_of,
    or_zero,
    read_rows,
)
from measurements.facts.undo import History
from measurements.facts.undo import history as undone
from measurements.models import SIDES, WorkKind
from shop.models import ShopProfile

DAYS_A_YEAR = 365.2425
#: No date is told further ahead than this.
HORIZON_YEARS = 60
#: Where the build year is unknown: years before the first reading, and how unsure that is. Planning
#: defaults, no published source.
ASSUMED_AGE_YEARS = 20.0
ASSUMED_AGE_SD_YEARS = 10.0
#: S.d. of a build year that is a guess, in years. Planning default, no published source.
GUESSED_YEAR_SD = 4.0


@dataclass(frozen=True)
class Facts:
    """Arrays over N instruments; sides are (bass, treble) on the last axis, NaN is unknown.

    The history (N, m) is padded with weight 0. ``undone_mm`` is the rise with all work undone and
    ``offset_mm`` what the work up to each reading had done, so that rise = undone + offset;
    ``offset_now_mm`` includes work after the last reading. ``gauges`` says how sure
    each newest figure is. ``today`` is the middle of the day asked
    about, in days since 1970 as every ``day``.
    """

    today: float
    ids: Ints
    rows: Rows
    neck: Neck
    action_1_mm: Floats
    action_12_mm: Floats
    saddle_mm: Floats
    relief_mm: Floats
    bridge_rise_mm: Floats
    gauges: GaugeUncertainty
    target_1_mm: Floats
    target_12_mm: Floats
    pivot_to_saddle_mm: Floats
    pivot_depth_mm: Floats
    heel_depth_mm: Floats
    tilt_now_deg: Floats
    shim_now_mm: Floats
    tilt_left_deg: Floats
    day: Floats
    age_years: Floats
    measured_mm: Floats
    undone_mm: Floats
    moisture_offset_pct: Floats
    weight: Floats
    readings: Ints
    last_day: Floats
    unmeasured: np.ndarray
    offset_now_mm: Floats
    joint_gain: Floats
    u_joint_gain: Floats
    origin_day: Floats
    age_sd_years: Floats
    age_now_years: Floats
    origin_assumed: np.ndarray

    def __len__(self) -> int:
        return len(self.ids)


def gather(
    ids: Sequence[int], as_of: date, profile: ShopProfile, *, before: datetime | None = None
) -> Facts:
    """Everything geometry needs to know of the instruments ``ids`` on the day ``as_of``.

    ``before`` is a moment on that day, for what was known just before something then happened.
    """
    rows = read_rows(ids, as_of)
    end = day_number(end_of(as_of))
    if before is not None:
        end = day_number(before - A_MOMENT)
        rows = kept(rows, lambda day: day < end)
    return _facts(rows, as_of, profile, end)


def gather_with(facts: Facts, typed: Provisional, as_of: date, profile: ShopProfile) -> Facts:
    """The facts of one instrument as they will be once a typed reading is saved; reads nothing again."""
    return _facts(with_reading(facts.rows, typed), as_of, profile, day_number(end_of(as_of)))


def _facts(rows: Rows, as_of: date, profile: ShopProfile, end: float) -> Facts:
    """What the rows come to; work from the day ``end`` on is still to be done."""
    n = len(rows.ids)
    today = day_number(end_of(as_of)) - 0.5
    done = rows.work_day < end
    instrument = _instrument_columns(rows, profile)
    neck = instrument["neck"]
    reach = neck.saddle_line_mm - neck.joint_mm  # the pivot is taken at the joint fret
    tilt_now, shim_now = _joint_on_day(rows, instrument, done)
    history = undone(rows, done, reach, instrument, profile.bridge_rise_u_mm)
    now = latest(rows, done, history, neck, profile)
    origin = _origin(rows, done, history, today)
    pad = _padded(rows, history, origin, profile, n)
    return Facts(
        today=today,
        ids=rows.ids,
        rows=rows,
        neck=neck,
        target_1_mm=instrument["target_1_mm"],
        target_12_mm=instrument["target_12_mm"],
        pivot_to_saddle_mm=reach,
        pivot_depth_mm=instrument["pivot_depth_mm"],
        heel_depth_mm=instrument["heel_depth_mm"],
        tilt_now_deg=tilt_now,
        shim_now_mm=shim_now,
        tilt_left_deg=_tilt_left(instrument, tilt_now, shim_now, history.gain),
        age_now_years=np.maximum((today - origin["day"]) / DAYS_A_YEAR, 0.01),
        origin_day=origin["day"],
        age_sd_years=origin["sd_years"],
        origin_assumed=origin["assumed"],
        offset_now_mm=history.offset_now_mm,
        joint_gain=history.gain,
        u_joint_gain=history.u_gain,
        **now,
        **pad,
    )


def necks_of(instruments: Sequence[Mapping[str, Any]]) -> Neck:
    """The necks of instruments given as rows, with the usual dimension where none is known."""

    def own_or_usual(name: str) -> Floats:
        return np.array(
            [
                USUAL_DIMENSIONS[row["strings"]][name] if row[name] is None else row[name]
                for row in instruments
            ],
            dtype=float,
        )

    radius = own_or_usual("fretboard_radius_mm")
    return Neck(
        scale_length_mm=own_or_usual("scale_length_mm"),
        compensation_mm=own_or_usual("compensation_mm"),
        joint_fret=own_or_usual("joint_fret"),
        fretboard_radius_mm=np.where(radius == 0, np.inf, radius),
        half_spread_nut_mm=own_or_usual("half_spread_nut_mm"),
        half_spread_saddle_mm=own_or_usual("half_spread_saddle_mm"),
    )


def _instrument_columns(rows: Rows, profile: ShopProfile) -> dict[str, Any]:
    """Dimensions of necks and joints and the shop's targets, as arrays over the instruments."""

    def joint(name: str) -> Floats:
        return np.array(
            [joint_dimension(name, row[f"joint__{name}"]) for row in rows.instruments], dtype=float
        )

    targets = {
        Strings.STEEL: (profile.steel_action_12_bass_mm, profile.steel_action_12_treble_mm),
        Strings.NYLON: (profile.nylon_action_12_bass_mm, profile.nylon_action_12_treble_mm),
    }
    at_nut = {
        Strings.STEEL: (profile.steel_action_1_bass_mm, profile.steel_action_1_treble_mm),
        Strings.NYLON: (profile.nylon_action_1_bass_mm, profile.nylon_action_1_treble_mm),
    }
    target = [
        [
            row[f"target_12_{side}_mm"] or targets[Strings(row["strings"])][place]
            for place, side in enumerate(SIDES)
        ]
        for row in rows.instruments
    ]
    return {
        "kind": np.array([row["joint__kind"] for row in rows.instruments], dtype=np.str_),
        "neck": necks_of(rows.instruments),
        "target_1_mm": np.array(
            [at_nut[Strings(row["strings"])] for row in rows.instruments], dtype=float
        ).reshape(len(rows.ids), 2),
        "target_12_mm": np.array(target, dtype=float).reshape(len(rows.ids), 2),
        "pivot_depth_mm": joint("pivot_depth_mm"),
        "heel_depth_mm": joint("heel_depth_mm"),
        "tilt_max_deg": joint("tilt_max_deg"),
        "tilt_now_deg": np.array([row["joint__tilt_now_deg"] for row in rows.instruments], float),
        "shim_now_mm": np.array([row["joint__shim_now_mm"] for row in rows.instruments], float),
        "shim_most_mm": np.array(
            [max(row["joint__shims_mm"], default=0.0) for row in rows.instruments], float
        ),
    }


def _joint_on_day(
    rows: Rows, instrument: dict[str, Any], done: np.ndarray
) -> tuple[Floats, Floats]:
    """Tilt and shim on the day: as they stand now, less what was done since."""
    settings = []
    for now, before, after in (
        ("tilt_now_deg", "tilt_from_deg", "tilt_to_deg"),
        ("shim_now_mm", "shim_from_mm", "shim_to_mm"),
    ):
        moved = or_zero(rows.work[after] - rows.work[before])
        later = ~done & (rows.work_kind == WorkKind.JOINT)
        setting = instrument[now].copy()
        np.subtract.at(setting, rows.work_who[later], moved[later])
        settings.append(setting)
    return settings[0], settings[1]


def _tilt_left(
    instrument: dict[str, Any], tilt_now: Floats, shim_now: Floats, gain: Floats
) -> Floats:
    """How far the joint can still be tilted back, in degrees; 0 for a joint that cannot.

    A screw's travel ends at an angle; a shim's at a thickness, of which the joint makes what its log
    has taught (``gain``).
    """
    kind = instrument["kind"]
    by_screw = np.maximum(instrument["tilt_max_deg"] - tilt_now, 0.0)
    thickest = np.maximum(instrument["shim_most_mm"], shim_now)
    depth = instrument["heel_depth_mm"] / gain  # as the options have it: a gain is a shorter lever
    by_shim = shim_tilt(thickest, depth, np.maximum(shim_now, 0.0))
    return np.where(
        np.isin(kind, TURNED), by_screw, np.where(kind == JointKind.SHIMMED, by_shim, 0.0)
    )


def _origin(rows: Rows, done: np.ndarray, history: History, today: float) -> dict[str, Floats]:
    """When the strings' pull began: building, or the last new origin; and how sure that is."""
    n = len(rows.ids)
    built = np.array(
        [
            np.nan if row["built_year"] is None else _middle_of(row["built_year"])
            for row in rows.instruments
        ],
        dtype=float,
    )
    guessed = np.array([row["built_about"] for row in rows.instruments], dtype=bool)
    first = np.full(n, today)
    np.minimum.at(first, history.who, history.day)
    assumed = np.isnan(built)
    day = np.where(assumed, first - ASSUMED_AGE_YEARS * DAYS_A_YEAR, built)
    sd = np.where(assumed, ASSUMED_AGE_SD_YEARS, np.where(guessed, GUESSED_YEAR_SD, 0.0))
    fresh = done & rows.work_new_origin
    for who, when in zip(rows.work_who[fresh], rows.work_day[fresh], strict=True):
        day[who], sd[who], assumed[who] = when, 0.0, False
    return {"day": day, "sd_years": sd, "assumed": assumed}


def _middle_of(year: int) -> float:
    return float((np.datetime64(f"{year:04d}-07-02") - np.datetime64("1970-01-01")).astype(int))


def moisture_offset_pct(
    profile: ShopProfile, humidity_pct: Floats, temperature_c: Floats
) -> Floats:
    """Moisture content less that at the shop's reference climate, (k,). [% MC]

    What the shop's hygrometer reads too high is taken off first. Without humidity NaN; without a
    temperature the reference one is taken. [% RH], [°C]
    """
    usual = profile.reference_temperature_c
    moisture = np.full(len(humidity_pct), np.nan)
    known = np.isfinite(humidity_pct)
    true_pct = np.clip(humidity_pct[known] - profile.hygrometer_reads_high_pct, 0.0, 100.0)
    temperature = np.where(np.isnan(temperature_c), usual, temperature_c)[known]
    moisture[known] = equilibrium_moisture_content(true_pct, temperature)
    return moisture - equilibrium_moisture_content(profile.reference_humidity_pct, usual)


def _padded(
    rows: Rows, history: History, origin: dict[str, Floats], profile: ShopProfile, n: int
) -> dict[str, Any]:
    """The history as (N, m) arrays, padded with weight 0."""
    who, day = history.who, history.day
    place = np.arange(len(who)) - history.first[who]
    m = max(int(history.count.max(initial=0)), 1)
    real = history.real
    humidity, temperature = rows.reading["humidity_pct"][real], rows.reading["temperature_c"][real]
    age = (day - origin["day"][who]) / DAYS_A_YEAR
    # A reading in the build year may fall before its middle: it is then taken as new.
    usable = history.usable & (age > -1.0)
    repeats = (rows.reading[name][real] for name in REPEAT_COLUMNS)
    variance = visit_u(profile.bridge_rise_u_mm, *repeats) ** 2 + history.doubt
    columns = {
        "day": day,
        "age_years": np.maximum(age, 0.0),
        "measured_mm": history.rise,
        "undone_mm": history.rise - history.offset,
        "moisture_offset_pct": moisture_offset_pct(profile, humidity, temperature),
        "weight": np.where(usable, LIFT_NOISE_MM**2 / variance, 0.0),
    }
    padded = {}
    for name, column in columns.items():
        table = np.full((n, m), 0.0 if name in ("weight", "age_years") else np.nan)
        table[who, place] = column
        padded[name] = table
    return {**padded, "readings": (padded["weight"] > 0).sum(axis=1)}
