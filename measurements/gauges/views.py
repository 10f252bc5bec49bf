"""The shop's gauges and when they were last checked."""

from datetime import date, timedelta

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_GET

from measurements.drawings.hands_svg import drift_picture
from measurements.gauges.hands import LEAST, YEARS, drifting
from measurements.models import Gauge
from shop.editing import saved_words
from shop.figures import day_words
from shop.named_forms import ModelForm
from shop.roles import anyone_on_staff, at_the_bench
from shop.views import form_view

DAYS_A_MONTH = 30.44


class GaugeForm(ModelForm):
    class Meta:
        model = Gauge
        fields = ["name", "kind", "checked_on", "check_every_months", "retired", "notes"]
        labels = {"notes": _lazy("Notes")}
        widgets = {
            "checked_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "notes": forms.Textarea(attrs={"rows": 3}),
        }

    def clean_name(self) -> str:
        name: str = self.cleaned_data["name"]
        other = Gauge.objects.filter(name__iexact=name).exclude(pk=self.instance.pk).first()
        if other is not None:
            raise ValidationError(_("There is a gauge named “%(name)s” already.") % {"name": other})
        return name

    def clean_checked_on(self) -> date | None:
        day: date | None = self.cleaned_data["checked_on"]
        if day is not None and day > timezone.localdate():
            raise ValidationError(
                _("%(day)s lies ahead; give the day on which it was checked.")
                % {"day": day_words(day)}
            )
        return day


def check_due(gauge: Gauge) -> date | None:
    """When a gauge is to be checked next; None where it never was."""
    if gauge.checked_on is None:
        return None
    return gauge.checked_on + timedelta(days=round(gauge.check_every_months * DAYS_A_MONTH))


@require_GET
@anyone_on_staff
def gauges(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    rows = [
        (gauge, due, due is None or due <= today)
        for gauge in Gauge.objects.all()
        for due in [check_due(gauge)]
    ]
    return render(request, "measurements/gauges/gauges.html", {"rows": rows})


@form_view
@at_the_bench
def add_gauge(request: HttpRequest) -> HttpResponse:
    return _form(request, Gauge(), _("Add a gauge"))


@form_view
@at_the_bench
def edit_gauge(request: HttpRequest, number: int) -> HttpResponse:
    gauge = get_object_or_404(Gauge, pk=number)
    return _form(request, gauge, _("Change %(name)s") % {"name": gauge})


def _form(request: HttpRequest, gauge: Gauge, title: str) -> HttpResponse:
    form = GaugeForm(request.POST if request.method == "POST" else None, instance=gauge)
    if form.is_valid():
        saved = form.save() if form.has_changed() or gauge.pk is None else gauge
        messages.success(request, saved_words(str(saved)))
        return redirect("gauges")
    context = {"form": form, "title": title}
    return render(request, "shop/form.html", context, status=422 if form.is_bound else 200)


@require_GET
@anyone_on_staff
def drift(request: HttpRequest) -> HttpResponse:
    """Control charts of the readings' agreement, by person and by gauge."""
    groups = [
        (heading, [(hand, drift_picture(hand)) for hand in drifting(by)])
        for heading, by in ((_("By person"), "person"), (_("By gauge"), "gauge"))
    ]
    context = {"groups": groups, "years": YEARS, "least": LEAST}
    return render(request, "measurements/gauges/drift.html", context)
