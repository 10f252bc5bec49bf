"""Is a gauge, or a pair of hands, drifting? Seen from how well readings agree with one another.

The action at fret 12 can be read, and worked out from the other readings. The difference, in standard
uncertainties and less what is usual for that instrument (its dimensions may be off), should scatter about
0 with a standard deviation near 1 whoever reads it with whatever. A control chart of it, by the person
or by the gauge, shows a lasting shift that no single check-in shows.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from django.utils import timezone

from geometry.balance import balance
from geometry.control import Chart, ewma_chart
from instruments.models import Instrument
from measurements.facts.arrays import necks_of
from measurements.facts.certainty import gauges_of
from measurements.facts.rows import INSTRUMENT_COLUMNS, Floats
from measurements.models import SIDES, ActionReading, CheckIn
from shop.models import ShopProfile, User

if TYPE_CHECKING:
    import pandas as pd

#: How far back is looked, and how many readings make a chart. Planning defaults, no published source.
YEARS = 3
LEAST = 8
#: Readings of an instrument from which what is usual for it is known.
USUAL_FROM = 3
#: A difference beyond this counts as this: one misread figure is no drift, and is told of elsewhere.
FARTHEST = 2.5
SINGLES = ("relief_mm", "bridge_rise_mm", "saddle_bass_mm", "saddle_treble_mm")


@dataclass(frozen=True)
class Hand:
    """One person's or one gauge's chart, in order of time; ``since`` is when it went out of limits."""

    name: str
    chart: Chart
    moments: list[datetime]

    @property
    def since(self) -> datetime | None:
        """The first reading of the run beyond a limit that still lasts; None where all is well."""
        beyond = self.chart.beyond
        if not beyond[-1]:
            return None
        inside = np.flatnonzero(~beyond)
        return self.moments[0 if not len(inside) else int(inside[-1]) + 1]

    @property
    def reads_high(self) -> bool:
        return bool(self.chart.values[-1] > 0)


def drifting(by: str, now: datetime | None = None) -> list[Hand]:
    """Charts by ``"person"`` or ``"gauge"``, those out of limits first; four queries, however many."""
    frame = _agreements((now or timezone.now()) - timedelta(days=365 * YEARS))
    hands = []
    for name, rows in frame[frame[by] != ""].groupby(by):
        if len(rows) >= LEAST:
            ordered = rows.sort_values(["measured_at", "pk"])
            chart = ewma_chart(ordered["score"].to_numpy(float), centre=0.0, sd=1.0)
            hands.append(Hand(str(name), chart, list(ordered["measured_at"])))
    return sorted(hands, key=lambda hand: (hand.since is None, hand.name.casefold()))


def _agreements(since: datetime) -> "pd.DataFrame":
    """One row for each check-in with all it takes: who, with what, when, and its score."""
    import pandas as pd

    readings = pd.DataFrame(
        CheckIn.objects.standing()
        .filter(measured_at__gte=since, at_pitch=True)
        .exclude(bridge_rise_mm=None)
        .order_by("measured_at", "pk")
        .values("pk", "instrument_id", "measured_at", "gauge", "measured_by_id", *SINGLES),
        columns=["pk", "instrument_id", "measured_at", "gauge", "measured_by_id", *SINGLES],
    )
    readings["gauge"] = readings["gauge"].str.strip()
    names = dict(_names())
    readings["person"] = [names.get(key, "") for key in readings["measured_by_id"]]
    readings["raw"] = _balance_of(readings, _actions(since))
    judged: pd.DataFrame = readings[np.isfinite(readings["raw"].to_numpy(float))].copy()
    same = judged.groupby("instrument_id")["raw"]
    usual = same.transform("median").where(same.transform("count") >= USUAL_FROM, 0.0)
    judged["score"] = (judged["raw"] - usual).clip(-FARTHEST, FARTHEST)
    return judged


def _names() -> Iterator[tuple[int, str]]:
    for person in User.objects.only("pk", "username", "first_name", "last_name"):
        yield person.pk, person.get_full_name() or person.username


def _actions(since: datetime) -> dict[int, dict[tuple[int, str], float]]:
    """Actions at frets 1 and 12 of each check-in."""
    found: dict[int, dict[tuple[int, str], float]] = defaultdict(dict)
    rows = ActionReading.objects.filter(
        check_in__measured_at__gte=since, check_in__voided_at=None, fret__in=(1, 12)
    )
    for key, fret, side, action in rows.values_list("check_in_id", "fret", "side", "action_mm"):
        found[key][fret, side] = action
    return found


def _balance_of(
    readings: "pd.DataFrame", actions: dict[int, dict[tuple[int, str], float]]
) -> Floats:
    """Measured less predicted action at fret 12, mean of the sides, in standard uncertainties."""
    rows = {
        row["pk"]: row
        for row in Instrument.objects.filter(pk__in=set(readings["instrument_id"])).values(
            *INSTRUMENT_COLUMNS
        )
    }
    if readings.empty:
        return np.empty(0)

    def action(fret: int) -> Floats:
        return np.array(
            [
                [actions.get(key, {}).get((fret, side), np.nan) for side in SIDES]
                for key in readings["pk"]
            ]
        )

    neck = necks_of([rows[key] for key in readings["instrument_id"]]).two_sided
    found = balance(
        neck,
        action_1_mm=action(1),
        action_12_mm=action(12),
        bridge_rise_mm=readings[["bridge_rise_mm"]].to_numpy(float),
        saddle_mm=readings[["saddle_bass_mm", "saddle_treble_mm"]].to_numpy(float),
        relief_mm=readings[["relief_mm"]].to_numpy(float),
        uncertainty=gauges_of(ShopProfile.current()),
    )
    return np.asarray(np.mean(found.balance_mm / found.u_mm, axis=1))
