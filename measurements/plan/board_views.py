"""Where a person starts: what is due (owner), what is on the bench today (tech)."""

from datetime import timedelta

from django.contrib import messages
from django.db.models import Exists, Min, OuterRef, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from instruments.models import Instrument, JointKind
from measurements.drawings.load_svg import load_pictures, load_words
from measurements.facts.rows import end_of, start_of
from measurements.forecast.load import expected_resets
from measurements.forecast.refreshing import CHUNK, refresh
from measurements.models import CheckIn, Outlook, State, Work
from measurements.plan.board import BoardPages, Wish, counts_by_state, matching, on_the_bench
from shop.models import ShopProfile
from shop.people import person
from shop.roles import OWNER, anyone_on_staff, has_role, owner_only
from shop.views import form_view, settings_form

#: A board older than this says so: what is due moves on with the days.
STALE_DAYS = 7
LINES = 50


@require_GET
@anyone_on_staff
def home(request: HttpRequest) -> HttpResponse:
    return redirect("due" if has_role(person(request), OWNER) else "today")


@require_GET
@anyone_on_staff
def due(request: HttpRequest) -> HttpResponse:
    """Every instrument, the soonest likely reset first unless asked otherwise, and the quarters ahead."""
    wish = Wish.of(request.GET.dict())
    capacity = ShopProfile.current().resets_per_quarter
    counts = counts_by_state(wish)
    found = sum(counts.values()) if not wish.state else counts[wish.state]
    pages = BoardPages(wish, found, LINES)
    quarters = expected_resets(matching(wish), timezone.localdate())
    context = {
        "page": pages.get_page(request.GET.get("page")),
        "wish": wish,
        "headings": list(wish.headings()),
        "states": [(state.value, state.label, counts[state.value]) for state in State],
        "joints": JointKind.choices,
        "total": sum(counts.values()),
        "quarters": quarters,
        "loads": load_pictures(quarters, capacity),
        "load_words": load_words(quarters, capacity),
        "oldest": Outlook.objects.aggregate(oldest=Min("as_of"))["oldest"],
        "stale_before": timezone.localdate() - timedelta(days=STALE_DAYS),
    }
    part = request.htmx.target == "board"  # type: ignore[attr-defined]
    template = "measurements/plan/_board.html" if part else "measurements/plan/due.html"
    return render(request, template, context)


@form_view
@owner_only
def settings(request: HttpRequest) -> HttpResponse:
    return settings_form(request, then=_refresh_all)


def _refresh_all(request: HttpRequest) -> None:
    """Outlooks rest on the shop's figures: a small shop's are made anew at once."""
    if Instrument.objects.count() <= CHUNK:
        refresh()
    else:
        messages.warning(
            request,
            _("Run manage.py recompute_outlooks for the new figures to reach every outlook."),
        )


@require_GET
@anyone_on_staff
def today(request: HttpRequest) -> HttpResponse:
    """Today's check-ins, and instruments received but not yet handed back."""
    day = timezone.localdate()
    check_ins = (
        CheckIn.objects.standing()
        .filter(measured_at__gte=start_of(day), measured_at__lt=end_of(day))
        .select_related("instrument__customer", "measured_by")
        .order_by("-measured_at", "-pk")
    )
    return render(
        request,
        "measurements/plan/today.html",
        {"day": day, "check_ins": check_ins, "waiting": waiting()},
    )


def waiting() -> QuerySet[Instrument]:
    """Instruments received and not handed back yet, the longest wait first."""
    worked = Work.objects.standing().filter(
        Q(done_at__gte=OuterRef("received_at")), instrument=OuterRef("pk")
    )
    return (
        on_the_bench(Instrument.objects.all())
        .annotate(has_work=Exists(worked))  # type: ignore[misc]  # "received_at" is annotated
        .select_related("customer", "outlook")
        .order_by("received_at")
    )
