"""How fast a fleet's readings become its outlook: arrays in, dates out.

Run it with ``python -m bench.fleet``. Beside it, on the same machine in the same run, a loop of
statsmodels WLS that does one regression an instrument. Needs the development requirements.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable

import numpy as np
import statsmodels.api as sm

from geometry.fleet import fleet_prior
from geometry.lift import LiftFit, crossing, fit_lift

HORIZON_YEARS = 60.0
CHUNK = 4000
Readings = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def make_readings(count: int, readings: int, seed: int = 1) -> Readings:
    """Ages, rises, moisture offsets and weights of invented instruments, (N, m) each."""
    rng = np.random.default_rng(seed)
    first = rng.uniform(0.0, 25.0, (count, 1))
    age = first + np.sort(rng.uniform(0.0, 12.0, (count, readings)), axis=1)
    rate = 1.6 * np.exp(0.8 * rng.normal(size=(count, 1)))
    offset = rng.normal(0.0, 1.5, age.shape)
    rise = rng.normal(-2.0, 1.5, (count, 1)) + 0.2 * offset
    rise += rate * (age / 30.0) ** rng.uniform(0.2, 1.0, (count, 1))
    rise += rng.normal(0.0, 0.2, age.shape)
    rise += (rng.random(age.shape) < 0.03) * rng.normal(0.0, 2.0, age.shape)
    return age, rise, offset, np.ones_like(age)


def limits_of(rise: np.ndarray) -> np.ndarray:
    """Two limits an instrument: the saddle spent, the reset due. [mm]"""
    return np.stack([rise[:, -1] + 0.5, rise[:, -1] + 2.0], axis=1)


def dates(fit: LiftFit, readings: Readings) -> np.ndarray:
    """Early, likely and late ages at both limits, (N, 2, 3)."""
    age, rise = readings[:2]
    return crossing(fit, limits_of(rise), horizon_age_years=age[:, -1] + HORIZON_YEARS)


def outlook(readings: Readings) -> np.ndarray:
    """Readings to the six dates."""
    return dates(fit_lift(*readings), readings)


def outlook_in_chunks(readings: Readings) -> np.ndarray:
    """The same a few thousand instruments at a time, so that memory does not grow with the fleet."""
    age, rise, offset, weight = readings
    cuts = [slice(start, start + CHUNK) for start in range(0, len(age), CHUNK)]
    return np.concatenate([outlook((age[c], rise[c], offset[c], weight[c])) for c in cuts])


def regressions_in_a_loop(readings: Readings) -> np.ndarray:
    """One weighted regression an instrument by statsmodels, with its standard errors."""
    age, rise, offset, weight = readings
    found = np.empty((len(age), 6))
    for i in range(len(age)):
        x = np.column_stack([np.ones(age.shape[1]), (age[i] / 30.0) ** 0.45, offset[i]])
        model = sm.WLS(rise[i], x, weights=weight[i]).fit()
        found[i] = *model.params, *model.bse
    return found


def best_of(repeats: int, act: Callable[[], object]) -> float:
    """Seconds of the fastest of some runs."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        act()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    """Print the times."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--readings", type=int, default=12)
    parser.add_argument("--repeats", type=int, default=3)
    arguments = parser.parse_args()
    readings = make_readings(arguments.count, arguments.readings)
    fit = fit_lift(*readings)
    rows = {
        "fit, plain": lambda: fit_lift(*readings, robust=False),
        "fit, wild readings held down": lambda: fit_lift(*readings),
        "six dates from the fit": lambda: dates(fit, readings),
        "fleet prior from the fit": lambda: fleet_prior(fit),
        "outlook: readings to six dates": lambda: outlook(readings),
        f"the same, {CHUNK} instruments at a time": lambda: outlook_in_chunks(readings),
        "statsmodels WLS, one regression each, in a loop": lambda: regressions_in_a_loop(readings),
    }
    models = fit.weight[0].size
    print(
        f"{arguments.count} instruments x {arguments.readings} readings, {models} models each; "
        f"best of {arguments.repeats}"
    )
    seconds = {name: best_of(arguments.repeats, act) for name, act in rows.items()}
    loop = list(seconds.values())[-1]
    print(f"{'':<52}{'seconds':>8}{'loop / this':>13}")
    for name, value in seconds.items():
        print(f"{name:<52}{value:>8.3f}{loop / value:>13.1f}")
    age, rise, offset, weight = readings
    one = (age[:1], rise[:1], offset[:1], weight[:1])
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"{'peak memory of all this [MB]':<52}{peak_mb:>8.0f}")
    print(f"{'one instrument, readings to six dates':<52}{best_of(20, lambda: outlook(one)):>8.4f}")


if __name__ == "__main__":
    main()
