"""``manage.py load_demo``: the invented shop, moved so that its newest day is today."""

import json
from datetime import UTC, date, datetime, timedelta
from io import StringIO

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.utils import timezone

from instruments.models import Instrument, JointKind
from measurements.management.commands import load_demo
from measurements.models import CheckIn, Outlook, Stage, Work, WorkKind
from shop.demo import DEMO_NAMES, demo_logins
from shop.models import Customer, ShopProfile, User
from tests.factories import InstrumentFactory

pytestmark = pytest.mark.django_db


def load():
    out = StringIO()
    call_command("load_demo", stdout=out)
    return out.getvalue()


@pytest.fixture
def small_demo(tmp_path, monkeypatch):
    """The demo with two of its instruments, one of them waiting: quicker to load."""
    demo = json.loads(load_demo.DEMO_FILE.read_text(encoding="utf-8"))
    demo["instruments"] = demo["instruments"][:2]
    file = tmp_path / "demo.json"
    file.write_text(json.dumps(demo), encoding="utf-8")
    monkeypatch.setattr(load_demo, "DEMO_FILE", file)
    return demo


def test_it_loads_the_whole_shop_and_a_second_time_keeps_it(db):
    assert load() == "Loaded the demo shop: 40 instruments.\n"
    assert ShopProfile.current().name == "Quayside String Workshop"
    assert Outlook.objects.count() == Instrument.objects.count() == 40
    assert set(Instrument.objects.values_list("joint__kind", flat=True)) == set(JointKind.values)
    today = timezone.localdate()
    received = CheckIn.objects.filter(measured_at__date=today, stage=Stage.RECEIVED)
    assert received.count() >= 3
    assert not CheckIn.objects.filter(measured_at__gt=timezone.now()).exists()
    remeasure = Outlook.objects.filter(remeasure=True)
    assert remeasure.filter(surprise_z__gt=3).exists(), "the jump is seen"
    for joint_work in Work.objects.filter(kind=WorkKind.JOINT):
        assert joint_work.tilt_to_deg > joint_work.tilt_from_deg
    kept = CheckIn.objects.count()
    again = load()
    assert "already holds instruments (40); nothing was changed" in again
    assert "keeps the data" in again
    assert CheckIn.objects.count() == kept


def test_the_joint_stands_where_its_last_work_left_it(small_demo):
    load()
    instrument = Instrument.objects.get(tag=small_demo["instruments"][0]["tag"])
    last = instrument.works.filter(kind=WorkKind.JOINT).last()
    assert instrument.joint.tilt_now_deg == pytest.approx(last.tilt_to_deg, abs=1e-6)


def test_three_people_can_sign_in(small_demo, client):
    load()
    assert demo_logins() == [("owner", "owner"), ("tech", "technician"), ("counter", "counter")]
    for name in DEMO_NAMES:
        assert client.login(username=name, password="saddle-demo")


def test_somebody_who_is_there_already_keeps_their_password(small_demo):
    User.objects.create_user("tech", password="her own words")
    load()
    assert User.objects.get(username="tech").check_password("her own words")


@pytest.mark.parametrize("day", [date(2026, 11, 20), date(2026, 11, 25), date(2031, 2, 14)])
def test_the_newest_day_is_today_whenever_that_is(small_demo, day):
    noon = datetime(day.year, day.month, day.day, 18, 30, tzinfo=UTC)
    with time_machine.travel(noon, tick=False):
        load()
    newest, oldest = CheckIn.objects.latest("measured_at"), CheckIn.objects.earliest("measured_at")
    assert newest.measured_at.date() == day
    first = min(e["day"] for i in small_demo["instruments"] for e in i["events"])
    span = date.fromisoformat(small_demo["newest_day"]) - date.fromisoformat(first)
    assert newest.measured_at.date() - oldest.measured_at.date() == span
    for found in CheckIn.objects.select_related("instrument"):
        assert found.instrument.built_year < found.measured_at.year


def test_early_in_the_morning_nothing_lies_in_the_future(small_demo):
    early = datetime(2026, 11, 25, 0, 10, tzinfo=UTC)
    with time_machine.travel(early, tick=False):
        load()
    newest = CheckIn.objects.latest("measured_at").measured_at
    assert early - timedelta(minutes=10) <= newest <= early


def test_a_database_with_instruments_is_left_alone():
    InstrumentFactory()
    customers = Customer.objects.count()
    assert "already holds instruments (1)" in load()
    assert (Customer.objects.count(), User.objects.count()) == (customers, 0)


def test_it_refuses_in_production(settings):
    settings.PRODUCTION = True
    with pytest.raises(CommandError, match="never loaded in production"):
        load()
    assert not User.objects.exists()
