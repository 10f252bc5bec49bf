"""How fast a fleet's record in the database becomes stored outlooks, and in how much memory.

Run it with ``python -m bench.fleet_db``. Each size has a database file of its own in a temporary
directory, filled without the clock running, and is measured in a process of its own so that its peak
memory is its own. Beside the reading stands the same columns fetched by a bare cursor, unconverted.
With ``--here`` the database that DATABASE_URL names is used for the first size; it must be empty.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

SIZES = (1_000, 10_000, 100_000)
AS_OF = date(2026, 1, 1)
FILL = 2_000  # instruments made at a time
CHECK_INS_ALONE = 50
DAYS_A_YEAR = 365.2425
ACTIONS_MM = {(1, "bass"): 0.5, (1, "treble"): 0.35, (12, "bass"): 2.2, (12, "treble"): 1.8}

# The quickest plain way: the figures as the database holds them, the moment as a number.
DAY = {
    "sqlite": "julianday({}) - 2440587.5",
    "postgresql": "date_part('epoch', {}) / 86400.0",
}
BARE = (
    """SELECT i.id, tag, built_year, built_about, strings, top_wood, bracing, scale_length_mm,
              compensation_mm, joint_fret, fretboard_radius_mm, half_spread_nut_mm,
              half_spread_saddle_mm, target_12_bass_mm, target_12_treble_mm, kind, pivot_depth_mm,
              heel_depth_mm, tilt_now_deg, tilt_max_deg, shims_mm, shim_now_mm
       FROM instruments_instrument i LEFT JOIN instruments_neckjoint j ON j.instrument_id = i.id
       ORDER BY i.id""",
    """SELECT instrument_id, {measured}, humidity_pct, temperature_c, relief_mm, bridge_rise_mm,
              saddle_bass_mm, saddle_treble_mm
       FROM measurements_checkin c
       WHERE voided_at IS NULL AND at_pitch AND measured_at < {until}
       ORDER BY instrument_id, measured_at, id""",
    """SELECT c.instrument_id, {measured}, a.action_mm, a.fret, a.side
       FROM measurements_actionreading a JOIN measurements_checkin c ON c.id = a.check_in_id
       WHERE c.voided_at IS NULL AND c.at_pitch AND c.measured_at < {until} AND a.fret IN (1, 12)
       ORDER BY c.instrument_id, c.measured_at, c.id""",
    """SELECT instrument_id, {done}, tilt_from_deg, tilt_to_deg, shim_from_mm, shim_to_mm, wedge_mm,
              relief_from_mm, relief_to_mm, saddle_bass_to_mm, saddle_treble_to_mm,
              nut_bass_to_mm, nut_treble_to_mm, kind, new_origin
       FROM measurements_work
       WHERE voided_at IS NULL
       ORDER BY instrument_id, done_at, id""",
)

# Filling


def fill(count: int, readings: int) -> None:
    """Make the tables and ``count`` invented instruments with ``readings`` check-ins each."""
    from django.core.management import call_command
    from django.core.management.color import no_style
    from django.db import connection, transaction

    from instruments.models import Instrument
    from measurements.models import CheckIn

    call_command("migrate", verbosity=0)
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA synchronous=OFF")
    for start in range(0, count, FILL):
        with transaction.atomic():
            _fill_some(start, min(FILL, count - start), readings)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
        for statement in connection.ops.sequence_reset_sql(no_style(), [Instrument, CheckIn]):
            cursor.execute(statement)


def _fill_some(start: int, count: int, readings: int) -> None:
    """Instruments ``start + 1`` onwards: a third with action readings, a fifth with work done."""
    from bench.fleet import make_readings
    from instruments.models import Instrument, NeckJoint
    from measurements.models import ActionReading, CheckIn, Work

    age, rise, _, _ = make_readings(count, readings, seed=start + 1)
    rng = np.random.default_rng(start + 2)
    keys = range(start + 1, start + count + 1)
    built = 2024 - np.ceil(age[:, -1]).astype(int) - rng.integers(0, 2, count)
    tilting = np.array([key % 10 == 0 for key in keys])
    _insert(
        Instrument,
        {"id": keys, "tag": [f"B{key}" for key in keys], "built_year": built.tolist()},
        created_at=_moment(datetime(2000, 1, 1, tzinfo=UTC)),
    )
    _insert(
        NeckJoint,
        {
            "instrument_id": keys,
            "kind": np.where(tilting, "tilting", "glued").tolist(),
            "tilt_max_deg": np.where(tilting, 2.0, 0.0).tolist(),
        },
    )
    when = [
        datetime(year, 7, 2, tzinfo=UTC) + timedelta(days=years * DAYS_A_YEAR)
        for year, ages in zip(built.tolist(), age.tolist(), strict=True)
        for years in ages
    ]
    whose = np.repeat(keys, readings)
    number = (whose - 1) * readings + np.tile(np.arange(readings), count) + 1
    size = len(number)
    season = 48 + 8 * np.sin(
        np.array([2 * np.pi * moment.timetuple().tm_yday / 365 for moment in when])
    )
    humidity = (season + rng.normal(0, 5, size)).tolist()
    _insert(
        CheckIn,
        {
            "id": number.tolist(),
            "uuid": [f"{n:032x}" for n in number.tolist()],
            "instrument_id": whose.tolist(),
            "measured_at": [_moment(moment) for moment in when],
            "humidity_pct": [h if n % 7 else None for n, h in enumerate(humidity)],
            "temperature_c": [20.0 if n % 5 else None for n in range(size)],
            "relief_mm": (0.2 + rng.normal(0, 0.03, size)).tolist(),
            "bridge_rise_mm": np.clip(rise, -4, 9).ravel().tolist(),
            "saddle_bass_mm": (3.4 + rng.normal(0, 0.05, size)).tolist(),
            "saddle_treble_mm": (2.9 + rng.normal(0, 0.05, size)).tolist(),
        },
        recorded_at=_moment(datetime(2025, 1, 1, tzinfo=UTC)),
    )
    read = np.repeat(number[whose % 3 == 0], len(ACTIONS_MM))
    times = len(read) // len(ACTIONS_MM)
    usual = np.tile(list(ACTIONS_MM.values()), times)
    _insert(
        ActionReading,
        {
            "check_in_id": read.tolist(),
            "fret": [fret for fret, _ in ACTIONS_MM] * times,
            "side": [side for _, side in ACTIONS_MM] * times,
            "action_mm": (usual + rng.normal(0, 0.03, len(read))).tolist(),
        },
    )
    worked = [key for key in keys if key % 5 == 0]
    turned = [key % 10 == 0 for key in worked]
    middle = [(key - start - 1) * readings + readings // 2 for key in worked]
    _insert(
        Work,
        {
            "uuid": [f"{key:032x}" for key in worked],
            "instrument_id": worked,
            "kind": ["joint" if turn else "saddle" for turn in turned],
            "done_at": [_moment(when[place] + timedelta(hours=1)) for place in middle],
            "tilt_from_deg": [0.0 if turn else None for turn in turned],
            "tilt_to_deg": [0.2 if turn else None for turn in turned],
            "saddle_bass_to_mm": [None if turn else 3.4 for turn in turned],
            "saddle_treble_to_mm": [None if turn else 2.9 for turn in turned],
        },
        recorded_at=_moment(datetime(2025, 1, 1, tzinfo=UTC)),
    )


def _moment(moment: datetime) -> Any:
    from django.db import connection

    return connection.ops.adapt_datetimefield_value(moment)


def _insert(model: Any, columns: dict[str, Iterable[Any]], **same: Any) -> None:
    """Rows by columns, the model's defaults elsewhere; the constraints of the tables still hold."""
    from django.db import connection

    for field in model._meta.concrete_fields:
        name = field.column
        if name in columns or name in same or field.primary_key or field.null:
            continue
        same[name] = field.get_db_prep_save(field.get_default(), connection)
    values = ", ".join(["%s"] * (len(columns) + len(same)))
    statement = (
        f"INSERT INTO {model._meta.db_table} ({', '.join([*columns, *same])}) VALUES ({values})"  # noqa: S608
    )
    tail = tuple(same.values())
    with connection.cursor() as cursor:
        rows = [(*row, *tail) for row in zip(*columns.values(), strict=True)]
        if rows:
            cursor.executemany(statement, rows)


# Measuring


def best_of(repeats: int, act: Callable[[], object]) -> float:
    """Seconds of the fastest of some runs."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        act()
        times.append(time.perf_counter() - start)
    return min(times)


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def measure(repeats: int) -> dict[str, float]:
    """Seconds and peak memory of one refresh of everything, then its parts."""
    from instruments.models import Instrument
    from measurements.facts.rows import read_rows
    from measurements.forecast.refreshing import CHUNK, refresh

    before_mb = peak_mb()
    start = time.perf_counter()
    count = refresh(as_of=AS_OF)
    found = {
        "instruments": count,
        "refresh_s": time.perf_counter() - start,
        "peak_mb": peak_mb(),
        "start_mb": before_mb,
    }
    keys = list(Instrument.objects.order_by("pk").values_list("pk", flat=True))
    chunks = [keys[first : first + CHUNK] for first in range(0, count, CHUNK)]

    def read() -> None:
        for chunk in chunks:
            read_rows(chunk, AS_OF)

    found["read_s"] = best_of(repeats, read)
    found["floor_s"] = best_of(repeats, fetch_bare)
    found["one_ms"] = 1000 * _after_a_check_in(keys)
    return found


def fetch_bare() -> None:
    """The same columns of the whole fleet by a bare cursor, one statement a table, left as they come."""
    from django.db import connection

    from measurements.facts.rows import end_of

    day = DAY[connection.vendor]
    words = {
        "measured": day.format("c.measured_at"),
        "done": day.format("done_at"),
        "until": f"'{_moment(end_of(AS_OF))}'",
    }
    with connection.cursor() as cursor:
        for statement in BARE:
            cursor.execute(statement.format(**words))
            cursor.fetchall()


def _after_a_check_in(keys: Sequence[int]) -> float:
    """Median seconds that one outlook's refresh adds to saving a check-in."""
    from instruments.models import Instrument
    from measurements.forecast.refreshing import refresh_after
    from measurements.models import CheckIn

    times = []
    for key in keys[:: max(1, len(keys) // CHECK_INS_ALONE)][:CHECK_INS_ALONE]:
        instrument = Instrument.objects.get(pk=key)
        CheckIn.objects.create(
            instrument=instrument,
            measured_at=datetime(2026, 1, 1, 12, tzinfo=UTC),
            bridge_rise_mm=0.5,
            humidity_pct=45.0,
        )
        start = time.perf_counter()
        refreshed = refresh_after(instrument)
        times.append(time.perf_counter() - start)
        assert refreshed
    return statistics.median(times)


def main() -> None:
    """Print the table; or, as its own child, fill or measure one database."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    parser.add_argument("--readings", type=int, default=12)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--here", action="store_true", help="In the database of DATABASE_URL.")
    parser.add_argument("--fill", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--measure", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.fill or arguments.measure:
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
        import django

        django.setup()
        if arguments.fill:
            fill(arguments.fill, arguments.readings)
        else:
            print(json.dumps(measure(arguments.repeats)))
        return
    print(f"{arguments.readings} readings an instrument; reading: best of {arguments.repeats}")
    print(
        f"{'instruments':>11}{'seconds':>9}{'per 1,000':>11}{'peak MB':>9}"
        f"{'reading':>9}{'bare':>7}{'ratio':>7}{'one [ms]':>10}"
    )
    for size in arguments.sizes[:1] if arguments.here else arguments.sizes:
        row = _one_size(size, arguments)
        per_thousand = 1000 * row["refresh_s"] / row["instruments"]
        print(
            f"{row['instruments']:>11,}{row['refresh_s']:>9.2f}{per_thousand:>11.3f}"
            f"{row['peak_mb']:>9.0f}{row['read_s']:>9.3f}{row['floor_s']:>7.3f}"
            f"{row['read_s'] / row['floor_s']:>7.2f}{row['one_ms']:>10.2f}",
            flush=True,
        )


def _one_size(size: int, arguments: argparse.Namespace) -> dict[str, float]:
    """Fill and measure one size, each in a process of its own."""
    with tempfile.TemporaryDirectory() as place:
        environment = dict(os.environ)
        if not arguments.here:
            environment["DATABASE_URL"] = f"sqlite:///{Path(place) / 'fleet.sqlite3'}"
        this = [sys.executable, "-m", "bench.fleet_db"]
        more = ["--readings", str(arguments.readings), "--repeats", str(arguments.repeats)]
        subprocess.run([*this, "--fill", str(size), *more], env=environment, check=True)  # noqa: S603
        done = subprocess.run(  # noqa: S603
            [*this, "--measure", *more], env=environment, check=True, stdout=subprocess.PIPE
        )
        return json.loads(done.stdout)


if __name__ == "__main__":
    main()
