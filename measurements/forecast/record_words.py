"""Plain sentences for what moved a bridge, what one more reading would add, and how forecasts fared."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from geometry.units import UNITS, LengthUnit
from measurements.facts.arrays import HORIZON_YEARS
from measurements.facts.rows import date_of
from measurements.forecast.movement import Movement, NextReading
from measurements.forecast.record import BINS, IDEAL_SHARE, Record
from measurements.models import Outlook
from shop.figures import day_words, decimal, length_words

#: With fewer forecasts than this a share says nothing.
LEAST_FORECASTS = 10
#: Normal score of the 95 % range that chance leaves to a share of forecasts.
CHANCE_Z = 1.96
#: What is left is called too much from this many times the range of four cases in five: 3 s.d.
TOO_MUCH = 3.0 / 1.2816


@dataclass(frozen=True)
class Part:
    """One line of the table of what moved the bridge."""

    name: str
    amount: str
    words: str


def movement_parts(found: Movement, unit: LengthUnit) -> list[Part]:
    """The parts and, last, their sum, rounded so that the figures shown add up."""
    step = UNITS[unit].mm / 10 ** UNITS[unit].decimals
    total = round(found.newest_mm / step) - round(found.first_mm / step)
    lasting, season, work = (
        round(mm / step) for mm in (found.lasting_mm, found.season_mm, found.work_mm)
    )
    left = total - lasting - season - work
    low, high = (_signed(round(mm / step) * step, unit) for mm in _lasting_range(found))
    return [
        Part(
            _("Lasting lift"),
            _signed(lasting * step, unit),
            _("%(low)s to %(high)s in four cases in five") % {"low": low, "high": high},
        ),
        Part(_("Season"), _signed(season * step, unit), _season_words(found)),
        Part(
            _("Work done"),
            _signed(work * step, unit),
            _("neck angle, relief and resets logged in between")
            if work
            else _("none that moves the bridge"),
        ),
        Part(_("What is left"), _signed(left * step, unit), _left_words(found, unit)),
        Part(
            _("Together"),
            _signed(total * step, unit),
            _("%(first)s on %(first_day)s, %(newest)s on %(newest_day)s")
            % {
                "first": length_words(found.first_mm, unit),
                "first_day": day_words(found.first),
                "newest": length_words(found.newest_mm, unit),
                "newest_day": day_words(found.newest),
            },
        ),
    ]


def _lasting_range(found: Movement) -> tuple[float, float]:
    return found.lasting_low_mm, found.lasting_high_mm


def _season_words(found: Movement) -> str:
    if found.humidity_missing:
        return _("humidity was not read on both days: what it did is in what is left")
    return _("the humidity and the time of year on the two days")


def _left_words(found: Movement, unit: LengthUnit) -> str:
    usual = {"scatter": length_words(found.scatter_mm, unit)}
    if abs(found.left_mm) > TOO_MUCH * found.scatter_mm:
        return (
            _(
                "more than scatter explains (± %(scatter)s is usual): read it again, look for a cause"
            )
            % usual
        )
    if abs(found.work_mm) > 0.005:
        return (
            _(
                "scatter of the two readings and of undoing the work; within ± %(scatter)s in four "
                "cases in five"
            )
            % usual
        )
    return _("scatter of the two readings; within ± %(scatter)s in four cases in five") % usual


def _signed(mm: float, unit: LengthUnit) -> str:
    text = length_words(mm, unit)
    if not any(digit in text for digit in "123456789"):
        return text.lstrip("−")
    return text if text.startswith("−") else f"+{text}"


def next_reading_words(found: NextReading | None, outlook: Outlook) -> str:
    """What one more reading would buy, where the range is ahead and a reading can change it."""
    early, likely, late = outlook.reset_early, outlook.reset_likely, outlook.reset_late
    if found is None or early is None or early <= outlook.as_of or not found.now_years > 0.5:
        return ""
    now, after, dry = (
        _years(years) for years in (found.now_years, found.after_years, found.after_dry_years)
    )
    if after == now or found.after_years > found.now_years:
        return _("One more reading today would hardly narrow it: the bridge has to move first.")
    narrower = _("from %(now)s to %(after)s years") % {"now": now, "after": after}
    if dry != after:
        narrower += _(" (taken in a dry month, to %(dry)s)") % {"dry": dry}
    if not late:
        narrower += _(", dates past %(years)d years counted as %(years)d") % {
            "years": HORIZON_YEARS
        }
    if likely:
        expected = _(
            "One more reading today is expected to narrow the range of the reset date %(narrower)s."
        )
    else:
        expected = _(
            "One more reading today is expected to narrow the range of the reset's earliest and "
            "latest date %(narrower)s."
        )
    return expected % {"narrower": narrower}


def _years(years: float) -> str:
    return decimal(years, 0 if years >= 10 else 1)


def record_words(found: Record) -> str:
    """``9 of the last 11 readings lay inside the range foretold for them.``"""
    count, inside = len(found), int(found.inside.sum())
    if not count:
        return ""
    if count == 1:
        if inside:
            return _("The one reading that could be foretold lay inside the range foretold for it.")
        return _("The one reading that could be foretold lay outside the range foretold for it.")
    return ngettext(
        "%(inside)d of the last %(count)d readings lay inside the range foretold for them; "
        "four in five are to be expected.",
        "%(inside)d of the last %(count)d readings lay inside the range foretold for them; "
        "four in five are to be expected.",
        inside,
    ) % {"inside": inside, "count": count}


@dataclass(frozen=True)
class Share:
    """How many forecasts of a kind held."""

    name: str
    count: int
    inside: int
    percent: str
    chance: str
    words: str


def shares(found: Record) -> list[Share]:
    """Share inside the range by the number of readings that the forecast rested on, then overall."""
    rows = [
        _share(_bin_name(least, most), found.inside[found.of_bin(least, most)])
        for least, most in BINS
    ]
    return [*rows, _share(_("all"), found.inside)]


def _bin_name(least: int, most: int | None) -> str:
    if most is None:
        return _("%(least)d and more") % {"least": least}
    return f"{least}" if most == least else f"{least}–{most}"


def _share(name: str, inside: np.ndarray) -> Share:
    count, held = len(inside), int(inside.sum())
    if not count:
        return Share(name, 0, 0, "–", "–", _("none yet"))
    percent = round(100 * held / count)
    if count < LEAST_FORECASTS:
        return Share(name, count, held, f"{percent} %", "–", _("too few to say"))
    low, high = (round(100 * share) for share in chance_range(count))
    words = _("as expected")
    if percent < low:
        words = _("too narrow")
    elif percent > high:
        words = _("wider than needed")
    return Share(name, count, held, f"{percent} %", f"{low}–{high} %", words)


def chance_range(count: int) -> tuple[float, float]:
    """Shares between which an honest range lands in 19 cases in 20, by the normal approximation to the
    binomial distribution; readings of one instrument share its luck, so chance may do a little more."""
    spread = CHANCE_Z * float(np.sqrt(IDEAL_SHARE * (1.0 - IDEAL_SHARE) / count))
    return max(IDEAL_SHARE - spread, 0.0), min(IDEAL_SHARE + spread, 1.0)


@dataclass(frozen=True)
class RecordLine:
    """One forecast as a table shows it."""

    tag: str
    day: date
    before: int
    foretold: str
    likely: str
    measured: str
    inside: bool


def record_lines(
    found: Record, places: Sequence[int], tags: Sequence[str], unit: LengthUnit
) -> list[RecordLine]:
    """Forecasts at ``places`` of the record, in that order; ``tags`` are by instrument."""
    return [
        RecordLine(
            tag=tags[found.row[k]],
            day=date_of(found.day[k]),
            before=int(found.before[k]),
            foretold=_("%(low)s to %(high)s")
            % {
                "low": _plain(found.low_mm[k], unit),
                "high": length_words(found.high_mm[k], unit),
            },
            likely=length_words(found.likely_mm[k], unit),
            measured=length_words(found.measured_mm[k], unit),
            inside=bool(found.inside[k]),
        )
        for k in places
    ]


def _plain(mm: float, unit: LengthUnit) -> str:
    return length_words(mm, unit).removesuffix(f" {unit}")
