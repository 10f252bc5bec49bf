"""Facts (check-ins, readings, work, photos) and, apart from them, conclusions (outlooks, issued reports).

Lengths in mm, angles in degrees, moments in UTC. Facts are voided and replaced, never edited.
"""

from measurements.models.conclusions import CHANCES, Outlook, ShopPrior, State
from measurements.models.facts import (
    SIDES,
    ActionReading,
    CheckIn,
    Press,
    Side,
    Stage,
    Work,
    WorkKind,
)
from measurements.models.imports import ImportRun
from measurements.models.pictures import Damage, Photo
from measurements.models.plan import Booking, Channel, Contact, Gauge, GaugeKind
from measurements.models.reports import ReportLink, ServiceReport
from measurements.models.voidable import Standing, Voidable

__all__ = [
    "CHANCES",
    "SIDES",
    "ActionReading",
    "Booking",
    "Channel",
    "CheckIn",
    "Contact",
    "Damage",
    "Gauge",
    "GaugeKind",
    "ImportRun",
    "Outlook",
    "Photo",
    "Press",
    "ReportLink",
    "ServiceReport",
    "ShopPrior",
    "Side",
    "Stage",
    "Standing",
    "State",
    "Voidable",
    "Work",
    "WorkKind",
]
