"""What the record leads one to expect of a reading that is being taken."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geometry.action import action_at_fret
from geometry.constants import LIFT_NOISE_MM
from geometry.lift import LiftFit, surprise
from geometry.readings import complete, two_sided
from geometry.repeats import mean_and_spread, visit_u
from measurements.advice.counsel import Counsel
from measurements.facts.arrays import moisture_offset_pct
from measurements.facts.rows import Floats
from measurements.forecast.record import foretold_reading
from measurements.models import SIDES

Place = tuple[int, str]  # fret, side


@dataclass(frozen=True)
class RiseForecast:
    """The bridge rise that a reading taken now should give, on the joint's present setting. [mm]

    ``low_mm`` and ``high_mm`` are the 10 and 90 % points: four readings in five lie between.
    """

    low_mm: float
    likely_mm: float
    high_mm: float
    fit: LiftFit
    age_years: Floats
    moisture_offset_pct: Floats
    weight: Floats
    offset_mm: float

    def score(self, rise_mm: float) -> float:
        """Normal score of a reading in its forecast; beyond ±3 it is a jump, or misread."""
        undone = np.array([rise_mm - self.offset_mm])
        found = surprise(
            self.fit, self.age_years, undone, self.moisture_offset_pct, weight=self.weight
        )
        return float(found[0])


def rise_forecast(
    now: Counsel,
    *,
    humidity_pct: float | None,
    temperature_c: float | None,
    readings_mm: Sequence[float] = (),
) -> RiseForecast | None:
    """Forecast a reading of the bridge rise taken today.

    Parameters
    ----------
    now : Counsel
        Of one instrument; the forecast rests on its record, not on the reading that is being typed.
    humidity_pct, temperature_c : float or None
        Of the room now; without humidity the season's swing widens the forecast. [% RH], [°C]
    readings_mm : sequence of float
        Every reading taken of it, if any yet: several are worth more than one. [mm]

    Returns
    -------
    RiseForecast or None
        None where nothing was read before, or work left the bridge rise unknown.
    """
    facts = now.on_record
    offset = float(facts.offset_now_mm[0])
    if facts.readings[0] == 0 or not np.isfinite(offset):
        return None
    age = facts.age_now_years[:1]
    moisture = moisture_offset_pct(now.profile, _figure(humidity_pct), _figure(temperature_c))
    spread = mean_and_spread(readings_mm)[1] if readings_mm else None
    worth = visit_u(now.profile.bridge_rise_u_mm, max(len(readings_mm), 1), spread)
    weight = np.array([LIFT_NOISE_MM**2 / float(worth) ** 2])
    low, likely, high = foretold_reading(now.fit_on_record, age, moisture, weight)[0] + offset
    if not np.isfinite(likely):
        return None
    return RiseForecast(low, likely, high, now.fit_on_record, age, moisture, weight, offset)


def _figure(value: float | None) -> Floats:
    return np.array([np.nan if value is None else value])


def expected_actions(now: Counsel, frets: Sequence[int], rise_mm: float) -> dict[Place, float]:
    """Action at frets beyond the first that the other readings lead to; only what they do. [mm]

    ``now.readings`` are the figures typed so far over those of the record; ``rise_mm`` the bridge rise
    as typed or as forecast.
    """
    beyond = [fret for fret in frets if fret > 1]
    if not beyond:
        return {}
    relief = complete(now.neck, now.readings, now.targets).relief_mm
    found = action_at_fret(
        two_sided(now.neck),
        np.array(beyond)[:, None],
        action_1_mm=now.readings.action_1_mm,
        bridge_rise_mm=rise_mm,
        saddle_mm=now.readings.saddle_mm,
        relief_mm=relief,
    )
    return {
        (fret, side): float(value)
        for fret, row in zip(beyond, found, strict=True)
        for side, value in zip(SIDES, row, strict=True)
        if np.isfinite(value)
    }
