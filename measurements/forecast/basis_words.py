"""How sure an outlook is, and why, in plain sentences."""

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from measurements.forecast.movement import Coverage
from measurements.models import Outlook
from shop.figures import day_words
from shop.phrases import listed

SEASONS = (
    "",
    gettext_noop("all in one season of the year"),
    gettext_noop("in two seasons of the year"),
    gettext_noop("in three seasons of the year"),
    gettext_noop("in all four seasons"),
)
#: Readings over fewer years than this say little of how the lift slows. Planning default, no source.
SHORT_YEARS = 3.0
#: What an outlook may have had to assume, as it is stored.
ASSUMED = (
    gettext_noop("action at fret 1"),
    gettext_noop("saddle height"),
    gettext_noop("relief"),
)


def basis_words(outlook: Outlook, covered: Coverage | None = None) -> str:
    """How sure the outlook is, and why; ``covered`` says over which years and seasons."""
    if not outlook.readings:
        return ""
    sentences = [_("Rests on %(basis)s.") % {"basis": "; ".join(_rests_on(outlook, covered))}]
    if outlook.readings < 3:
        sentences.append(
            _("With so few the range is wide: it is mostly what is usual for such instruments.")
        )
    elif covered is not None:
        sentences += _doubts(covered)
    if covered is not None and covered.held_down:
        sentences.append(_held_down_words(covered.held_down))
    return " ".join(sentences)


def _rests_on(outlook: Outlook, covered: Coverage | None) -> list[str]:
    """How many readings, over which time, and what had to be guessed."""
    count, basis = outlook.readings, outlook.basis
    readings = ngettext(
        "%(count)d reading of the bridge rise", "%(count)d readings of the bridge rise", count
    ) % {"count": count}
    if covered is not None and count > 1:
        readings = _("%(readings)s over %(span)s, %(seasons)s") % {
            "readings": readings,
            "span": _span_words(covered.span_years),
            "seasons": _(SEASONS[covered.seasons]),
        }
    parts = [readings]
    dry = count - basis.get("humidity_known", 0)
    if dry:
        parts.append(_("%(count)d without humidity") % {"count": dry})
    if basis.get("origin_assumed"):
        parts.append(_("build year unknown and assumed, which widens the range"))
    elif basis.get("age_sd_years"):
        parts.append(_("build year a guess, which widens the range"))
    if basis.get("assumed"):
        assumed = ", ".join(_(name) for name in basis["assumed"])
        parts.append(_("assumed: %(readings)s") % {"readings": assumed})
    return parts


def _span_words(years: float) -> str:
    """``12 years``, ``7 months`` or ``3 days``."""
    months, days = years * 12, years * 365.25
    if years >= 1.95:
        count = round(years)
        return ngettext("%(count)d year", "%(count)d years", count) % {"count": count}
    if months >= 1.0:
        count = round(months)
        return ngettext("%(count)d month", "%(count)d months", count) % {"count": count}
    if days < 1.0:
        return _("one day")
    count = round(days)
    return ngettext("%(count)d day", "%(count)d days", count) % {"count": count}


def _doubts(covered: Coverage) -> list[str]:
    doubts = []
    if covered.seasons == 1:
        doubts.append(
            _("Readings in one season cannot tell season from lift, so the range is wide.")
        )
    if covered.span_years < SHORT_YEARS:
        doubts.append(_("So short a time says little of how the lift slows, so the range is wide."))
    return doubts


def _held_down_words(days: Sequence[date]) -> str:
    """Which readings count for little, by their dates."""
    named = {"days": listed([day_words(day) for day in days])}
    return (
        ngettext(
            "The reading of %(days)s does not fit the others and counts for little.",
            "The readings of %(days)s do not fit the others and count for little.",
            len(days),
        )
        % named
    )
