"""What is said beside each box of the check-in form while it is filled."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from geometry.repeats import mean_and_spread
from geometry.units import LengthUnit
from measurements.advice.counsel import Counsel
from measurements.check_ins.expected import RiseForecast, expected_actions
from measurements.check_ins.forms import CheckInForm
from measurements.models import SIDES, Side
from measurements.words import suspect_words
from shop.fields import LengthField
from shop.figures import decimal, length_words, localized
from shop.templatetags.lengths import both

SAME_MM = 0.005
NOT_AT_PITCH = gettext_noop(
    "Not at pitch: what is typed is kept, but no advice or outlook rests on it."
)


@dataclass(frozen=True)
class Understood:
    """The lines under one box, and what is wrong with it."""

    name: str
    lines: tuple[str, ...] = ()
    wrong: str = ""


def reading_words(readings_mm: Sequence[float], unit: LengthUnit = "mm") -> str:
    """``2.40 mm = 0.094 in``; of several ``mean of 3: 2.43 mm = 0.096 in, spread 0.06 mm``.

    ``unit`` is the spread's.
    """
    mean, spread = mean_and_spread(readings_mm)
    if spread is None:
        return both(mean)
    return _("mean of %(count)s: %(mean)s, spread %(spread)s") % {
        "count": len(readings_mm),
        "mean": both(mean),
        "spread": length_words(spread, unit),
    }


def quantity_words(name: str, value: float) -> str:
    """Humidity or temperature as it was understood."""
    if name == "humidity_pct":
        return _("%(figure)s %% RH") % {"figure": localized(f"{value:.3g}")}
    return f"{decimal(value, 1)} °C = {decimal(value * 9 / 5 + 32, 0)} °F"


def change_since(value_mm: float, last_mm: float, unit: LengthUnit) -> str:
    """``0.15 mm more than last time``."""
    change = value_mm - last_mm
    if abs(change) < SAME_MM:
        return _("as last time")
    words = (
        _("%(change)s more than last time") if change > 0 else _("%(change)s less than last time")
    )
    return words % {"change": length_words(abs(change), unit)}


def last_words(last_mm: float | None, unit: LengthUnit) -> tuple[str, ...]:
    if last_mm is None:
        return ()
    return (_("Last time %(figure)s") % {"figure": length_words(last_mm, unit)},)


def understood(
    form: CheckInForm, last_mm: Mapping[str, float], expected: Mapping[str, str]
) -> list[Understood]:
    """Each box with what is to be said beside it; ``expected`` are words by the name of the field."""
    found = []
    for name in (*form.reading_names(), *form.apart_names()):
        field, last = form.fields[name], last_mm.get(name)
        if not form.text_of(name):
            found.append(Understood(name, last_words(last, form.unit)))
            continue
        value, wrong = form.figure(name), form.trouble(name)
        if value is None:
            found.append(Understood(name, (), wrong))
        elif not isinstance(field, LengthField):
            found.append(Understood(name, (quantity_words(name, value),), wrong))
        else:
            lines = [reading_words(form.read_mm(name), form.unit)]
            if last is not None:
                lines.append(change_since(value, last, form.unit))
            if name in expected:
                lines.append(expected[name])
            found.append(Understood(name, tuple(lines), wrong))
    return found


def expected_words(
    form: CheckInForm, now: Counsel, forecast: RiseForecast | None
) -> dict[str, str]:
    """What each length was expected to read, by the name of its field."""
    unit, typed = form.unit, form.figure
    words = _after_work(form, now)
    rise = typed("bridge_rise_mm")
    if forecast is not None:
        words["bridge_rise_mm"] = _("outlook expected %(likely)s (%(low)s to %(high)s)") % {
            "likely": length_words(forecast.likely_mm, unit),
            "low": length_words(forecast.low_mm, unit),
            "high": length_words(forecast.high_mm, unit),
        }
        rise = forecast.likely_mm if rise is None else rise
    if rise is None:
        return words
    for (fret, side), value in expected_actions(now, form.frets, rise).items():
        others = ("bridge_rise_mm", f"saddle_{side}_mm", f"action_1_{side}_mm")
        if all(typed(name) is not None for name in others):
            said = _("the others say %(figure)s")
        else:
            said = _("outlook expected %(figure)s")
        words[form.action_name(fret, side)] = said % {"figure": length_words(value, unit)}
    return words


def suspect_marks(form: CheckInForm, now: Counsel) -> dict[str, str]:
    """Beside the box whose reading is the first suspect: what would agree with the others."""
    advice = now.advice
    if advice.reason_key != "contradiction" or is_too_early(form, now):
        return {}
    return {
        f"{suspect.name}_mm": _("▲ suspect: %(figure)s would agree")
        % {"figure": length_words(suspect.should_read_mm, form.unit)}
        for suspect in advice.suspect_details[:1]
        if suspect.slip != "swapped"
    }


def _after_work(form: CheckInForm, now: Counsel) -> dict[str, str]:
    """Where work was done since the last readings: what each place should read after it."""
    facts = now.on_record
    if not facts.unmeasured[0]:
        return {}
    should = {"relief_mm": facts.relief_mm[0]}
    for place, side in enumerate(SIDES):
        should[f"saddle_{side}_mm"] = facts.saddle_mm[0, place]
        should[form.action_name(1, side)] = facts.action_1_mm[0, place]
        should[form.action_name(12, side)] = facts.action_12_mm[0, place]
    return {
        name: _("after the work %(figure)s expected")
        % {"figure": length_words(float(value), form.unit)}
        for name, value in should.items()
        if np.isfinite(value)
    }


_BALANCE: dict[str, str] = {
    Side.BASS: gettext_noop(
        "Action at 12, bass: read %(read)s, the others say %(others)s ± %(unsure)s."
    ),
    Side.TREBLE: gettext_noop(
        "Action at 12, treble: read %(read)s, the others say %(others)s ± %(unsure)s."
    ),
}


def balance_words(form: CheckInForm, now: Counsel) -> list[str]:
    """For each side whose action at 12 was typed: what was read, what the others say, how sure."""
    words = []
    advice, unit = now.advice, form.unit
    for place, side in enumerate(SIDES):
        read = form.figure(form.action_name(12, side))
        apart, u = float(advice.balance_mm[place]), float(advice.balance_u_mm[place])
        if read is not None and np.isfinite(apart) and typed_whole(form, side):
            figures = {
                "read": length_words(read, unit),
                "others": length_words(read - apart, unit),
                "unsure": length_words(2 * u, unit),
            }
            words.append(_(_BALANCE[side]) % figures)
    return words


def typed_whole(form: CheckInForm, side: str) -> bool:
    """Whether enough was typed on a side to hold its readings against each other."""
    names = (form.action_name(12, side), f"saddle_{side}_mm", "bridge_rise_mm")
    return all(form.figure(name) is not None for name in names)


def is_too_early(form: CheckInForm, now: Counsel) -> bool:
    """A contradiction only with figures of last time, which the next boxes will replace."""
    contradicted = now.advice.reason_key == "contradiction"
    return contradicted and not any(typed_whole(form, side) for side in SIDES)


def summary_words(form: CheckInForm, now: Counsel | None) -> str:
    """The one sentence that is read aloud when it changes."""
    unread = [
        str(form.fields[name].label)
        for name in (*form.reading_names(), *form.apart_names())
        if form.text_of(name) and form.figure(name) is None
    ]
    if unread:
        return _("Not understood yet: %(fields)s.") % {"fields": ", ".join(unread)}
    if now is None:
        return _("Nothing measured yet.") if form.as_read() is None else _(NOT_AT_PITCH)
    if is_too_early(form, now):
        return _("What is typed so far does not fit last time's other figures; measure on.")
    if now.advice.reason_key == "contradiction":
        return _contradiction_words(form, now)
    if now.advice.reason_key == "surprise":
        return _(
            "The newest bridge rise lies far from its forecast: "
            "measure it again before anything else."
        )
    if balance_words(form, now):
        return _("The readings agree.")
    return _("Not enough readings yet to hold them against each other.")


def _contradiction_words(form: CheckInForm, now: Counsel) -> str:
    suspects = [suspect_words(item, form.unit) for item in now.advice.suspect_details]
    if not suspects:
        return _("The readings do not agree, and no single one explains it: measure them again.")
    return _("The readings do not agree. Suspect: %(suspect)s.") % {"suspect": suspects[0]}
