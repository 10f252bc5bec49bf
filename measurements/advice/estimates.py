"""What the next job may cost, from the shop's price list: an estimate, never an offer."""

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from measurements.advice.counsel import Counsel
from measurements.models import Outlook, State
from shop.models import ShopProfile
from shop.phrases import running_on
from shop.prices import JOBS, estimate, price_list

#: Which jobs each option is made of.
OPTION_JOBS: dict[str, tuple[str, ...]] = {
    "leave": (),
    "saddle": ("saddle",),
    "tilt": ("tilt",),
    "tilt_and_saddle": ("tilt", "saddle"),
    "reset": ("reset",),
}
#: What is to be done before the height is: see ``geometry.advice``.
STEP_JOBS = {
    "cannot_say": ("check",),
    "remeasure": ("check",),
    "relief": ("relief",),
    "nut": ("nut",),
}
NOT_AN_OFFER = gettext_noop("This is an estimate from our price list, not an offer.")


def option_estimates(shop: ShopProfile) -> dict[str, str]:
    """``about EUR 350 to 500`` by option; without an option that costs nothing or is not priced."""
    prices = price_list()
    found = {key: estimate(jobs, prices, shop) for key, jobs in OPTION_JOBS.items()}
    return {
        key: _("about %(sum)s") % {"sum": sum_.words}
        for key, sum_ in found.items()
        if sum_ is not None
    }


def next_estimate(now: Counsel, outlook: Outlook) -> list[str]:
    """What the report says of the next job's cost; empty where the shop shows none or has no price."""
    if not now.profile.shows_estimates:
        return []
    prices = price_list()
    words = []
    for jobs in next_jobs(now, outlook):
        found = estimate(jobs, prices, now.profile)
        if found is not None:
            words.append(_("%(jobs)s: about %(sum)s.") % {"jobs": _name(jobs), "sum": found.words})
    return [*words, _(NOT_AN_OFFER)] if words else []


def next_jobs(now: Counsel, outlook: Outlook) -> list[Sequence[str]]:
    """The jobs that the report's next step names, in the order in which it names them."""
    advice, chosen = now.advice, now.recommended
    if now.facts.unmeasured[0]:
        return [("check",)]
    if advice.first_step in STEP_JOBS:
        jobs: list[Sequence[str]] = [STEP_JOBS[advice.first_step]]
    elif advice.first_step == "height" and chosen is not None:
        jobs = [OPTION_JOBS[chosen.key]]
    else:
        jobs = []
    if outlook.state in (State.OVERDUE, State.BOOK):
        jobs += [] if ("reset",) in jobs else [("reset",)]
    return [some for some in jobs if some] or [("check",)]


def _name(jobs: Sequence[str]) -> str:
    """``Neck angle at an adjustable joint, and saddle lowered or replaced``."""
    name = _(JOBS[jobs[0]])
    for job in jobs[1:]:
        name = _("%(job)s, and %(next)s") % {"job": name, "next": running_on(_(JOBS[job]))}
    return name
