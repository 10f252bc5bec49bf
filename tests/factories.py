"""Factories for every model; each makes a valid row, and what matters to a test is said by the test."""

from datetime import UTC, date, datetime, timedelta

import factory
from django.contrib.auth.models import Group
from factory.django import DjangoModelFactory, Password

from instruments.models import Instrument, JointKind, NeckJoint
from measurements.models import (
    ActionReading,
    Booking,
    Channel,
    CheckIn,
    Contact,
    Damage,
    Gauge,
    GaugeKind,
    ImportRun,
    Outlook,
    Photo,
    ServiceReport,
    Side,
    Stage,
    State,
    Work,
    WorkKind,
)
from shop.models import Customer, ShopProfile, User
from shop.roles import TECHNICIAN

PASSWORD = "saddle-demo"
FIRST_DAY = datetime(2020, 3, 2, 10, 0, tzinfo=UTC)

# Steel strings, usual dimensions, bridge rise 0.4 and relief 0.2 mm: the readings agree within 0.01 mm
# (geometry.action.action_at_fret; the bass is the first row of its worked table).
AGREEING_ACTIONS_MM = {
    (1, Side.BASS): 0.50,
    (1, Side.TREBLE): 0.35,
    (12, Side.BASS): 2.34,
    (12, Side.TREBLE): 1.88,
}


class UserFactory(DjangoModelFactory):
    """A technician; ``role="owner"`` for another role, ``role=""`` for none."""

    class Meta:
        model = User
        skip_postgeneration_save = True

    username = factory.Sequence(lambda n: f"person{n}")
    first_name = factory.Sequence(lambda n: f"Person {n}")
    password = Password(PASSWORD)

    @factory.post_generation
    def role(self, create: bool, extracted: str | None, **kwargs: object) -> None:
        name = TECHNICIAN if extracted is None else extracted
        if create and name:
            self.groups.set([Group.objects.get_or_create(name=name)[0]])


class ShopProfileFactory(DjangoModelFactory):
    class Meta:
        model = ShopProfile

    pk = 1
    name = "Quayside String Workshop"


class CustomerFactory(DjangoModelFactory):
    class Meta:
        model = Customer

    name = factory.Sequence(lambda n: f"Customer {n}")


class InstrumentFactory(DjangoModelFactory):
    """With a glued joint; ``joint__kind=…`` for another, ``joint=None`` for an instrument without."""

    class Meta:
        model = Instrument
        skip_postgeneration_save = True

    tag = factory.Sequence(lambda n: f"T-{n:04d}")
    customer = factory.SubFactory(CustomerFactory)
    maker = "Tarnbeck"
    model = "Orchard"
    built_year = 1998
    joint = factory.RelatedFactory(
        "tests.factories.NeckJointFactory", factory_related_name="instrument"
    )


class NeckJointFactory(DjangoModelFactory):
    """Glued, or ``tilting=True`` for an adjustable joint with an M6 bolt."""

    class Meta:
        model = NeckJoint

    instrument = factory.SubFactory(InstrumentFactory, joint=None)
    kind = JointKind.GLUED

    class Params:
        tilting = factory.Trait(
            kind=JointKind.TILTING, bolt_arm_mm=70.0, thread_pitch_mm=1.0, tilt_max_deg=2.0
        )


class CheckInFactory(DjangoModelFactory):
    """Readings that agree with one another; ``actions_mm={(12, "bass"): 2.4}`` for others."""

    class Meta:
        model = CheckIn
        skip_postgeneration_save = True

    instrument = factory.SubFactory(InstrumentFactory)
    measured_at = factory.Sequence(lambda n: FIRST_DAY + timedelta(days=n))
    stage = Stage.RECEIVED
    humidity_pct = 45.0
    temperature_c = 21.0
    relief_mm = 0.20
    bridge_rise_mm = 0.40
    saddle_bass_mm = 3.00
    saddle_treble_mm = 2.20

    @factory.post_generation
    def actions_mm(
        self, create: bool, extracted: dict[tuple[int, str], float] | None, **kwargs: object
    ) -> None:
        wanted = AGREEING_ACTIONS_MM if extracted is None else extracted
        if create:
            for (fret, side), action_mm in wanted.items():
                ActionReadingFactory(check_in=self, fret=fret, side=side, action_mm=action_mm)


class ActionReadingFactory(DjangoModelFactory):
    class Meta:
        model = ActionReading

    check_in = factory.SubFactory(CheckInFactory, actions_mm={})
    fret = 12
    side = Side.BASS
    action_mm = 2.34


class PhotoFactory(DjangoModelFactory):
    """A plain blue picture of 8 by 6 pixels."""

    class Meta:
        model = Photo

    check_in = factory.SubFactory(CheckInFactory)
    image = factory.django.ImageField(width=8, height=6)
    width, height = 8, 6
    digest = factory.Sequence(lambda n: f"{n:064x}")


class DamageFactory(DjangoModelFactory):
    class Meta:
        model = Damage

    check_in = factory.SubFactory(CheckInFactory)
    place = "top"
    words = "crack, 40 mm, open"


class WorkFactory(DjangoModelFactory):
    """A lowered saddle, or ``turned=True`` for ¾ turn of an M6 bolt on a 70 mm arm from no tilt."""

    class Meta:
        model = Work

    instrument = factory.SubFactory(InstrumentFactory)
    kind = WorkKind.SADDLE
    done_at = factory.Sequence(lambda n: FIRST_DAY + timedelta(days=n, hours=1))
    saddle_bass_from_mm = 3.00
    saddle_bass_to_mm = 2.60

    class Params:
        turned = factory.Trait(
            instrument=factory.SubFactory(
                InstrumentFactory, joint__tilting=True, joint__tilt_now_deg=0.6139
            ),
            kind=WorkKind.JOINT,
            turns=0.75,
            tilt_from_deg=0.0,
            tilt_to_deg=0.6139,  # arcsin(0.75 / 70) in degrees
            saddle_bass_from_mm=None,
            saddle_bass_to_mm=None,
        )


class OutlookFactory(DjangoModelFactory):
    class Meta:
        model = Outlook

    instrument = factory.SubFactory(InstrumentFactory)
    model_version = "1"
    fingerprint = "0" * 64
    as_of = date(2026, 11, 2)
    computed_at = datetime(2026, 11, 2, 12, 0, tzinfo=UTC)
    readings = 6
    last_measured_at = FIRST_DAY
    bridge_rise_mm = 0.40
    rise_limit_mm = 1.73
    saddle_room_mm = 1.33
    joint_room_mm = 0.0
    saddle_spent_early = date(2031, 5, 1)
    saddle_spent_likely = date(2036, 5, 1)
    saddle_spent_late = date(2047, 5, 1)
    reset_early = date(2031, 5, 1)
    reset_likely = date(2036, 5, 1)
    reset_late = date(2047, 5, 1)
    state = State.WATCH


class ContactFactory(DjangoModelFactory):
    class Meta:
        model = Contact

    instrument = factory.SubFactory(InstrumentFactory)
    customer = factory.SelfAttribute("instrument.customer")
    channel = Channel.PHONE
    reason = "the neck will need a reset"
    occasion = factory.Sequence(lambda n: f"book:{n}")
    made_by = factory.SubFactory(UserFactory)


class BookingFactory(DjangoModelFactory):
    class Meta:
        model = Booking

    instrument = factory.SubFactory(InstrumentFactory)
    day = date(2027, 2, 1)
    booked_by = factory.SubFactory(UserFactory)


class GaugeFactory(DjangoModelFactory):
    class Meta:
        model = Gauge

    name = factory.Sequence(lambda n: f"gauge {n}")
    kind = GaugeKind.ACTION


class ServiceReportFactory(DjangoModelFactory):
    class Meta:
        model = ServiceReport

    number = factory.Sequence(lambda n: n + 1)
    instrument = factory.SubFactory(InstrumentFactory)
    issued_at = FIRST_DAY
    issued_by = factory.SubFactory(UserFactory)
    content = factory.LazyAttribute(lambda report: {"tag": report.instrument.tag})


class ImportRunFactory(DjangoModelFactory):
    """An import that made nothing."""

    class Meta:
        model = ImportRun

    file_name = "log.csv"
    digest = "0" * 64
