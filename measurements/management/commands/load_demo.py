"""``manage.py load_demo``: the invented shop of ``fixtures/demo.json``, its newest day made today."""

import json
import logging
from datetime import date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.contrib.auth.models import Group
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from instruments.models import Instrument, NeckJoint
from measurements.acts import record_check_in, record_work
from measurements.facts.arrays import DAYS_A_YEAR
from measurements.facts.rows import start_of
from measurements.models import Gauge, Side
from measurements.plan.acts import book
from shop.demo import DEMO_PASSWORD
from shop.models import Customer, Price, ShopProfile, User
from shop.prices import JOBS

log = logging.getLogger(__name__)
DEMO_FILE = settings.BASE_DIR / "fixtures" / "demo.json"


class Command(BaseCommand):
    help = "Loads the demo shop into an empty database; a database with instruments is left alone."

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError(
                "The demo has well-known passwords; it is never loaded in production."
            )
        if count := Instrument.objects.count():
            self.stdout.write(
                f"The database already holds instruments ({count}); nothing was changed. "
                "Running it again keeps the data."
            )
            return
        demo = json.loads(DEMO_FILE.read_text(encoding="utf-8"))
        with transaction.atomic():
            instruments = _Loader(demo).load()
        self.stdout.write(f"Loaded the demo shop: {len(instruments)} instruments.")
        self._refresh([instrument.pk for instrument in instruments])

    def _refresh(self, touched: list[int]) -> None:
        from measurements.forecast import refreshing

        try:
            refreshing.refresh(touched)
        except Exception:
            log.exception("outlooks of the demo not computed")
            self.stderr.write(
                "The outlooks could not be computed; run manage.py recompute_outlooks."
            )


class _Loader:
    """Writes the demo's rows, moved so that its newest day is today."""

    def __init__(self, demo: dict[str, Any]) -> None:
        self.demo = demo
        self.now = timezone.now()
        self.today = timezone.localdate()
        self.shift = self.today - date.fromisoformat(demo["newest_day"])
        self.years = int(self.shift.days // DAYS_A_YEAR)

    def load(self) -> list[Instrument]:
        if not ShopProfile.objects.exists():
            profile = ShopProfile(pk=1, **self.demo["shop"])
            profile.full_clean(validate_unique=False)
            profile.save()
        self.staff = {row["username"]: _person(row) for row in self.demo["staff"]}
        self.customers = {row["name"]: _customer(row) for row in self.demo["customers"]}
        instruments = [self._instrument(row) for row in self.demo["instruments"]]
        self._plan(instruments)
        return instruments

    def _plan(self, instruments: list[Instrument]) -> None:
        """The price list, the gauges and what is booked."""
        for row in self.demo["prices"]:
            Price.objects.get_or_create(
                job=row["job"], defaults={"words": JOBS[row["job"]], **_without(row, "job")}
            )
        for row in self.demo["gauges"]:
            checked = self.today - timedelta(days=row["checked_days_ago"])
            Gauge.objects.get_or_create(
                name=row["name"], defaults={"kind": row["kind"], "checked_on": checked}
            )
        for row in self.demo["bookings"]:
            if row["instrument"] >= len(instruments):  # a part of the demo only
                continue
            book(
                instrument=instruments[row["instrument"]],
                day=self.today + timedelta(days=row["days_ahead"]),
                words=row["words"],
                by=self.staff["owner"],
            )

    def _instrument(self, row: dict[str, Any]) -> Instrument:
        about = dict(row)
        joint, events = about.pop("joint"), about.pop("events")
        about["customer"] = self.customers[about["customer"]]
        about["built_year"] += self.years
        instrument = Instrument(**about)
        instrument.full_clean()
        instrument.save()
        held = NeckJoint(instrument=instrument, **joint)
        held.full_clean()
        held.save()
        for event in events:
            self._event(instrument, dict(event))
        return instrument

    def _event(self, instrument: Instrument, event: dict[str, Any]) -> None:
        what, by = event.pop("what"), self.staff[event.pop("by")]
        moment = self._moment(event.pop("day"), event.pop("minute"))
        if what != "check-in":
            record_work(instrument=instrument, kind=what, done_at=moment, by=by, **event)
            return
        actions = {
            (int(fret), side): value
            for fret, pair in event.pop("actions").items()
            for side, value in zip(Side.values, pair, strict=True)
        }
        record_check_in(
            instrument=instrument, measured_at=moment, by=by, actions_mm=actions, **event
        )

    def _moment(self, day: str, minute: int) -> datetime:
        """The moment in the shop's time; what would lie in the future today is drawn in before now."""
        midnight = start_of(date.fromisoformat(day) + self.shift)
        moment = midnight + timedelta(minutes=minute)
        if moment > self.now:
            moment = midnight + (self.now - midnight) * (minute / (24 * 60))
        return moment


def _without(row: dict[str, Any], key: str) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name != key}


def _person(row: dict[str, str]) -> User:
    person, made = User.objects.get_or_create(
        username=row["username"],
        defaults={"first_name": row["first_name"], "last_name": row["last_name"]},
    )
    if made:
        person.set_password(DEMO_PASSWORD)
        person.save()
        person.groups.add(Group.objects.get(name=row["role"]))
    return person


def _customer(row: dict[str, str]) -> Customer:
    customer = Customer(**row)
    customer.full_clean()
    customer.save()
    return customer
