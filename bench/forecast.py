"""How good the outlook is: simulated fleets with the truth known, beside two simpler rules.

Run it with ``python -m bench.forecast``, or ``make bench-forecast``. The simulator
(``tests/geometry/simulator.py``) moves instruments by a process that is not the fitted model.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from geometry.fleet import learn_prior
from geometry.lift import LiftFit, LiftPrior, crossing, fit_lift, surprise
from geometry.linear import nig_fit
from tests.geometry.simulator import Fleet, simulate

FACTORS = (0.4, 1.0, 2.2)
SHOWN_HORIZON_YEARS = 60.0
#: Far enough for the range itself to be judged, not its being cut at a horizon.
FAR_HORIZON_YEARS = 10_000.0
CAP_YEARS = 40.0
#: A constant rate of the planning default, 1.6 mm in 30 years.
CONSTANT_MM_PER_YEAR = 1.6 / 30.0
BINS = {"all": (1, 99), "1": (1, 1), "2-3": (2, 3), "4-6": (4, 6), "7+": (7, 99)}
JUMPS_MM = (0.0, 0.6, 1.0, 1.5)


@dataclass(frozen=True)
class Scores:
    """Measures of one fleet's forecasts, each by number of readings.

    Attributes
    ----------
    inside, inside_shown : dict of float
        Share of instruments whose true date lies in the 10 to 90 % range; as shown, with everything
        past the horizon counted alike.
    error, line_error, rate_error : dict of float
        Median |log((likely + 0.5 y) / (true + 0.5 y))|, both capped at 40 years: of the outlook, of a
        least-squares line (where none can be drawn there is no date, which counts as past the cap), of a
        constant rate.
    error_on_line, line_error_on_line : dict of float
        The same on the instruments that a line can be drawn through.
    """

    inside: dict[str, float]
    inside_shown: dict[str, float]
    error: dict[str, float]
    error_on_line: dict[str, float]
    line_error: dict[str, float]
    line_error_on_line: dict[str, float]
    rate_error: dict[str, float]


def fit_fleet(fleet: Fleet, prior: LiftPrior | None = None) -> LiftFit:
    """The lift fit of a simulated fleet."""
    return fit_lift(
        fleet.age_years,
        fleet.rise_mm,
        fleet.moisture_offset_pct,
        fleet.weight,
        prior=prior,
        age_sd_years=fleet.age_sd_years,
    )


def fit_with_its_own_prior(fleet: Fleet) -> LiftFit:
    """The fit under the prior that the fleet itself teaches."""
    return fit_fleet(fleet, learn_prior(lambda prior: fit_fleet(fleet, prior)).shop)


def years_ahead(fit: LiftFit, fleet: Fleet, horizon_years: float) -> np.ndarray:
    """Early, likely and late years from now, infinite past the horizon, (N, 3)."""
    ages = crossing(fit, fleet.limit_mm, horizon_age_years=fleet.age_now_years + horizon_years)
    years = np.maximum(ages - fleet.age_now_years[:, None], 0.0)
    return np.where(np.isnan(years), np.inf, years)


def line_years(fleet: Fleet) -> np.ndarray:
    """Years from now at which a least-squares line crosses; NaN where none can be drawn, (N,)."""
    regressors = np.stack([np.ones_like(fleet.age_years), fleet.age_years], axis=2)
    line = nig_fit(regressors, np.nan_to_num(fleet.rise_mm), fleet.weight)
    start, slope = line.coefficients.T
    with np.errstate(divide="ignore", invalid="ignore"):
        years = (fleet.limit_mm - start) / slope - fleet.age_now_years
    rising = np.where(slope > 0, np.maximum(years, 0.0), np.inf)
    return np.where(np.isfinite(slope) & (fleet.readings > 1), rising, np.nan)


def rate_years(fleet: Fleet) -> np.ndarray:
    """Years from now by the last reading's room over a constant rate, (N,)."""
    last = fleet.rise_mm[np.arange(len(fleet.readings)), fleet.readings - 1]
    return np.maximum(fleet.limit_mm - last, 0.0) / CONSTANT_MM_PER_YEAR


def log_error(years: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """|log((years + 0.5) / (truth + 0.5))|, both capped."""
    capped, true = (np.minimum(a, CAP_YEARS) + 0.5 for a in (years, truth))
    return np.abs(np.log(capped / true))


def score(fleet: Fleet, fit: LiftFit) -> Scores:
    """Judge a fit's forecasts against the truth."""
    truth = fleet.years_to_crossing
    far = years_ahead(fit, fleet, FAR_HORIZON_YEARS)
    shown = years_ahead(fit, fleet, SHOWN_HORIZON_YEARS)
    cut = np.where(truth > SHOWN_HORIZON_YEARS, np.inf, truth)
    error = log_error(shown[:, 1], truth)
    line = line_years(fleet)
    drawn = ~np.isnan(line)
    line_error = log_error(np.where(drawn, line, np.inf), truth)
    return Scores(
        inside=_by_readings(fleet, (far[:, 0] <= truth) & (truth <= far[:, 2]), np.mean),
        inside_shown=_by_readings(fleet, (shown[:, 0] <= cut) & (cut <= shown[:, 2]), np.mean),
        error=_by_readings(fleet, error, np.median),
        error_on_line=_by_readings(fleet, np.where(drawn, error, np.nan), np.median),
        line_error=_by_readings(fleet, line_error, np.median),
        line_error_on_line=_by_readings(fleet, np.where(drawn, line_error, np.nan), np.median),
        rate_error=_by_readings(fleet, log_error(rate_years(fleet), truth), np.median),
    )


def _by_readings(fleet: Fleet, values: np.ndarray, measure) -> dict[str, float]:
    result = {}
    for name, (least, most) in BINS.items():
        part = values[(fleet.readings >= least) & (fleet.readings <= most)]
        known = part[~np.isnan(part)] if part.dtype == float else part
        result[name] = float(measure(known)) if known.size else float("nan")
    return result


def alarms(fleet: Fleet, fit: LiftFit, jump_mm: float, threshold: float) -> dict[str, float]:
    """Share of next readings, wild ones left out, called a surprise after a jump of the bridge."""
    score_ = surprise(
        fit, fleet.next_age_years, fleet.next_rise_mm + jump_mm, fleet.next_offset_pct
    )
    called = np.where(fleet.next_wild, np.nan, np.abs(score_) > threshold)
    return _by_readings(fleet, called, np.mean)


def _row(name: str, values: dict[str, float]) -> str:
    cells = "".join("      -" if np.isnan(v) else f"{v:7.2f}" for v in values.values())
    return f"  {name:<44}{cells}"


def mean_of(runs: Iterable[dict[str, float]]) -> dict[str, float]:
    """Mean of several runs' measures, by readings."""
    runs = list(runs)
    return {name: float(np.mean([run[name] for run in runs])) for name in runs[0]}


def print_forecasts(count: int, seeds: Sequence[int]) -> None:
    """The calibration table."""
    print("Prior learnt from the fleet; by readings:")
    for factor in FACTORS:
        fleets = [simulate(count, seed, factor) for seed in seeds]
        learnt = [score(fleet, fit_with_its_own_prior(fleet)) for fleet in fleets]
        default = [score(fleet, fit_fleet(fleet)) for fleet in fleets]
        print(f"\n{factor:g} times the default rate {'':<20}" + "".join(f"{b:>7}" for b in BINS))
        rows = {
            "true date inside the 10-90 % range": [s.inside for s in learnt],
            "the same, as shown with a 60-year horizon": [s.inside_shown for s in learnt],
            "the same range, planning defaults for prior": [s.inside for s in default],
            "error of the likely date": [s.error for s in learnt],
            "  of a least-squares line": [s.line_error for s in learnt],
            "  of a constant rate, the default": [s.rate_error for s in learnt],
            "error where a line can be drawn": [s.error_on_line for s in learnt],
            "  of that line": [s.line_error_on_line for s in learnt],
        }
        for name, runs in rows.items():
            print(_row(name, mean_of(runs)))
        spread = [s.inside["all"] for s in learnt]
        print(
            f"  inside the range, least and most of the seeds {min(spread):6.2f} {max(spread):6.2f}"
        )


def print_alarms(count: int, seeds: Sequence[int]) -> None:
    """How often a jump is called a surprise, by the gauge's scatter."""
    print("\nNext reading called a surprise, by readings before it")
    for gauge_mm in (0.05, 0.12, 0.20):
        fleets = [simulate(count, seed, gauge_mm=gauge_mm) for seed in seeds]
        fits = [fit_with_its_own_prior(fleet) for fleet in fleets]
        noise = np.mean([fit.prior.noise_mm for fit in fits])
        print(
            f"\ngauge s.d. {gauge_mm:g} mm, learnt noise {noise:.2f} mm {'':<9}"
            + "".join(f"{b:>7}" for b in BINS)
        )
        for threshold in (3.0, 2.5):
            for jump_mm in JUMPS_MM:
                jump = f"jump of {jump_mm:g} mm" if jump_mm else "no jump"
                runs = zip(fleets, fits, strict=True)
                print(
                    _row(
                        f"{jump}, |z| > {threshold:g}",
                        mean_of(alarms(*run, jump_mm, threshold) for run in runs),
                    )
                )


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seeds", type=int, default=4)
    arguments = parser.parse_args()
    seeds = range(1, arguments.seeds + 1)
    print(
        f"{arguments.count} simulated instruments in each fleet, mean of seeds 1 to {len(seeds)}."
    )
    print_forecasts(arguments.count, seeds)
    print_alarms(arguments.count, seeds)


if __name__ == "__main__":
    main()
