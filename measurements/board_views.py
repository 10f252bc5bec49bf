"""Where a person starts: what is due (owner), what is on the bench today (tech)."""

from datetime import timedelta

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import (
    Case,
    Count,
    Exists,
    F,
    IntegerField,
    Min,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from instruments.models import Instrument
from measurements.models import CheckIn, Outlook, Stage, State, Work
from measurements.refreshing import CHUNK, refresh
from measurements.rows import end_of, start_of
from shop.people import person
from shop.roles import OWNER, anyone_on_staff, has_role, owner_only
from shop.views import form_view, settings_form

#: A board older than this says so: what is due moves on with the days.
STALE_DAYS = 7
URGENCY = Case(
    *(When(state=state, then=Value(place)) for place, state in enumerate(State.values)),
    default=Value(len(State.values)),
    output_field=IntegerField(),
)


@require_GET
@anyone_on_staff
def home(request: HttpRequest) -> HttpResponse:
    return redirect("due" if has_role(person(request), OWNER) else "today")


@require_GET
@anyone_on_staff
def due(request: HttpRequest) -> HttpResponse:
    """Every instrument with an outlook, the soonest likely reset first."""
    wanted = request.GET.get("state", "")
    board = by_reset_date(
        Outlook.objects.select_related("instrument__customer", "instrument__joint")
    )
    if wanted in State.values:
        board = board.filter(state=wanted)
    page = Paginator(board, 50).get_page(request.GET.get("page"))
    counts = dict.fromkeys(State.values, 0) | {
        row["state"]: row["count"]
        for row in Outlook.objects.order_by().values("state").annotate(count=Count("pk"))
    }
    context = {
        "page": page,
        "wanted": wanted,
        "states": [(state.value, state.label, counts[state.value]) for state in State],
        "total": sum(counts.values()),
        "oldest": Outlook.objects.aggregate(oldest=Min("as_of"))["oldest"],
        "stale_before": timezone.localdate() - timedelta(days=STALE_DAYS),
    }
    return render(request, "measurements/due.html", context)


def by_reset_date(outlooks: QuerySet[Outlook]) -> QuerySet[Outlook]:
    """Soonest likely reset first; then those with only an early date; then the rest by urgency."""
    return outlooks.order_by(
        F("reset_likely").asc(nulls_last=True),
        F("reset_early").asc(nulls_last=True),
        URGENCY,
        "instrument__tag",
    )


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
            request, "Run manage.py recompute_outlooks for the new figures to reach every outlook."
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
        "measurements/today.html",
        {"day": day, "check_ins": check_ins, "waiting": waiting()},
    )


def waiting() -> QuerySet[Instrument]:
    """Instruments whose newest check-in of the last 90 days is one as received."""
    recent = timezone.now() - timedelta(days=90)
    newest = (
        CheckIn.objects.standing()
        .filter(instrument=OuterRef("pk"), measured_at__gte=recent)
        .order_by("-measured_at", "-pk")
    )
    worked = Work.objects.standing().filter(
        Q(done_at__gte=OuterRef("received_at")), instrument=OuterRef("pk")
    )
    return (
        Instrument.objects.annotate(
            newest_stage=Subquery(newest.values("stage")[:1]),
            received_at=Subquery(newest.values("measured_at")[:1]),
        )
        .filter(newest_stage=Stage.RECEIVED)
        .annotate(has_work=Exists(worked))
        .select_related("customer", "outlook")
        .order_by("received_at")
    )
