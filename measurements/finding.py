"""What nearly every page of an instrument looks up first."""

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404

from instruments.models import Instrument
from measurements.models import CheckIn


def instrument_or_404(tag: str) -> Instrument:
    return get_object_or_404(
        Instrument.objects.select_related("customer", "joint", "outlook"), tag__iexact=tag
    )


def check_ins_of(instrument: Instrument) -> QuerySet[CheckIn]:
    return instrument.check_ins.select_related("measured_by", "voided_by").prefetch_related(
        "action_readings"
    )
