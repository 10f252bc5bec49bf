"""What a piece of work is expected to do to the action, before it is done."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from geometry._checks import FloatArray, as_finite, as_reading
from geometry.action import reach, relief_step, sag_per_relief
from geometry.constants import ACTION_FRET
from geometry.options import Bench


@dataclass(frozen=True, eq=False)
class Foretold:
    """Action at the set frets before and after, (n_frets, 2), and what else moves. [mm]"""

    set_frets: tuple[int, ...]
    action_before_mm: FloatArray
    action_after_mm: FloatArray
    action_12_after_mm: FloatArray
    saddle_after_mm: FloatArray
    bridge_rise_after_mm: float
    relief_after_mm: float


def foretell(
    bench: Bench,
    *,
    tilt_deg: float = 0.0,
    saddle_mm: ArrayLike = (np.nan, np.nan),
    relief_mm: float | None = None,
    action_1_mm: ArrayLike = (np.nan, np.nan),
) -> Foretold:
    """Foretell the action after a change of angle, saddle, relief or nut, in any combination.

    Parameters
    ----------
    bench : Bench
        The instrument as it is.
    tilt_deg : float
        Change of neck angle, positive takes the headstock back. [°]
    saddle_mm, action_1_mm : array_like, shape (2,)
        Saddle and first-fret action afterwards; NaN leaves a side as it is. [mm]
    relief_mm : float or None
        Relief afterwards; None leaves it. [mm]

    Returns
    -------
    Foretold

    Raises
    ------
    ValueError
        If a figure is not finite where it must be, or the tilt is beyond ±20°.

    Notes
    -----
    Heights add up to first order: what is done at the saddle arrives at fret n as x_n/x_s of it,
    at the nut as 1 − x_n/x_s; a change of relief also turns the fret plane (:func:`relief_step`).
    """
    set_up = bench.set_up
    saddle = as_reading("saddle_mm", saddle_mm)
    after = np.where(np.isnan(saddle), set_up.saddle_mm, saddle)
    bend = (
        0.0
        if relief_mm is None
        else float(as_finite("relief_mm", relief_mm)) - float(set_up.relief_mm)
    )
    rise = float(bench.rise_after(tilt_deg)) + float(relief_step(bend).bridge_rise_change_mm)
    raised = rise - bench.rise_mm + after - set_up.saddle_mm
    first = as_reading("action_1_mm", action_1_mm)
    lift_1 = np.where(np.isnan(first), 0.0, first - set_up.action_1_mm)
    at_nut = lift_1 / (1.0 - reach(bench.neck, 1))

    def moved(fret: ArrayLike) -> FloatArray:
        along = reach(bench.neck, fret)
        return np.asarray(
            along * raised + (1.0 - along) * at_nut + sag_per_relief(bench.neck, fret) * bend
        )

    before = bench.actions(np.zeros(2))
    frets = np.array(bench.set_frets)[:, None]
    return Foretold(
        set_frets=bench.set_frets,
        action_before_mm=before,
        action_after_mm=before + moved(frets),
        action_12_after_mm=set_up.action_12_mm + moved(ACTION_FRET),
        saddle_after_mm=after,
        bridge_rise_after_mm=rise,
        relief_after_mm=float(set_up.relief_mm) + bend,
    )
