"""Outlooks as a table, for spreadsheets and other programs."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING, Any

from django.conf import settings

from instruments.models import Instrument
from measurements.forecast.outlooks import compute
from measurements.forecast.refreshing import CHUNK
from measurements.models import Outlook
from shop.languages import written_in
from shop.models import ShopProfile

if TYPE_CHECKING:
    import pandas as pd

LENGTHS = ("bridge_rise_mm", "saddle_room_mm", "joint_room_mm")
DATES = (
    "saddle_spent_early",
    "saddle_spent_likely",
    "saddle_spent_late",
    "reset_early",
    "reset_likely",
    "reset_late",
)
COLUMNS = ("tag", "readings", *LENGTHS, *DATES, "state")


def outlook_frame(as_of: date | None = None) -> pd.DataFrame:
    """Every instrument's outlook on a day (today by default), one row each in order of tags.

    Lengths are text with three decimals, dates ISO; both are empty where nothing can be said.
    """
    import pandas as pd

    return pd.DataFrame(list(_rows(as_of)), columns=list(COLUMNS), dtype=object)


def _rows(as_of: date | None) -> Iterator[tuple[Any, ...]]:
    profile = ShopProfile.current()
    # Sorted here, since databases differ in how they order letters.
    tags = sorted(Instrument.objects.values_list("tag", "pk"))
    for start in range(0, len(tags), CHUNK):
        chunk = tags[start : start + CHUNK]
        outlooks = {
            outlook.instrument_id: outlook
            for outlook in compute([key for _, key in chunk], as_of, profile)
        }
        for tag, key in chunk:
            if key in outlooks:  # else it was deleted a moment ago
                yield _row(tag, outlooks[key])


def _row(tag: str, outlook: Outlook) -> tuple[Any, ...]:
    lengths = (_length(getattr(outlook, name)) for name in LENGTHS)
    dates = (_date(getattr(outlook, name)) for name in DATES)
    with written_in(settings.LANGUAGE_CODE):  # programs read it, whoever asks
        state = outlook.get_state_display()
    return (tag, outlook.readings, *lengths, *dates, state)


def _length(value: float | None) -> str:
    return "" if value is None else f"{round(value, 3) + 0.0:.3f}"


def _date(value: date | None) -> str:
    return "" if value is None else value.isoformat()
