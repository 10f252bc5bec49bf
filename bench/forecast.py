"""How good the outlook is: simulated fleets with the truth known, beside two simpler rules.

Run it with ``python -m bench.forecast``, or ``make bench-forecast``. The simulator
(``tests/geometry/simulator.py``) moves instruments by a process that is not the fitted model.
"""

from __future__ import annotations

import argparse
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
JUMPS_MM = (0.6, 1.0, 1.5)


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


def print_forecasts(count: int, seed: int) -> None:
    """The calibration table."""
    print(f"{count} simulated instruments in each fleet, prior learnt from the fleet; by readings:")
    for factor in FACTORS:
        fleet = simulate(count, seed, factor)
        scores = score(fleet, fit_with_its_own_prior(fleet))
        default = score(fleet, fit_fleet(fleet))
        print(f"\n{factor:g} times the default rate {'':<20}" + "".join(f"{b:>7}" for b in BINS))
        print(_row("true date inside the 10-90 % range", scores.inside))
        print(_row("the same, as shown with a 60-year horizon", scores.inside_shown))
        print(_row("the same range, planning defaults for prior", default.inside))
        print(_row("error of the likely date", scores.error))
        print(_row("  of a least-squares line", scores.line_error))
        print(_row("  of a constant rate, the default", scores.rate_error))
        print(_row("error where a line can be drawn", scores.error_on_line))
        print(_row("  of that line", scores.line_error_on_line))


def print_alarms(count: int, seed: int) -> None:
    """How often a jump is called a surprise, by the gauge's scatter."""
    print("\nNext reading called a surprise, by readings before it")
    for gauge_mm in (0.05, 0.12, 0.20):
        fleet = simulate(count, seed, gauge_mm=gauge_mm)
        fit = fit_with_its_own_prior(fleet)
        print(
            f"\ngauge s.d. {gauge_mm:g} mm, learnt noise {fit.prior.noise_mm:.2f} mm {'':<9}"
            + "".join(f"{b:>7}" for b in BINS)
        )
        for threshold in (3.0, 2.5):
            print(_row(f"no jump, |z| > {threshold:g}", alarms(fleet, fit, 0.0, threshold)))
            for jump_mm in JUMPS_MM:
                name = f"jump of {jump_mm:g} mm, |z| > {threshold:g}"
                print(_row(name, alarms(fleet, fit, jump_mm, threshold)))


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    print_forecasts(arguments.count, arguments.seed)
    print_alarms(arguments.count, arguments.seed)


if __name__ == "__main__":
    main()
