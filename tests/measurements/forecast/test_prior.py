"""What a shop's own instruments teach, and that every fit then goes by it."""

from datetime import UTC, date, datetime
from io import StringIO

import numpy as np
import pytest
from django.core.management import call_command
from django.utils import timezone

from geometry.lift import LiftPrior
from measurements.advice.counsel import counsel
from measurements.facts.arrays import gather
from measurements.forecast.outlooks import compute
from measurements.forecast.prior import group_of, prior_for, rows_of
from measurements.forecast.refreshing import learn_from_fleet, refresh
from measurements.models import Outlook, ShopPrior
from shop.models import ShopProfile
from tests.factories import CheckInFactory, InstrumentFactory

pytestmark = pytest.mark.django_db
TODAY = date(2024, 6, 1)


def fleet(count, rate_mm, **more):
    """Instruments built in 2000 that rise at about ``rate_mm`` in 30 years by a square-root law."""
    rng = np.random.default_rng(7)
    made = InstrumentFactory.create_batch(count, built_year=2000, **more)
    for instrument in made:
        own = rate_mm * np.exp(0.2 * rng.normal())
        for year in (2004, 2010, 2016, 2022):
            rise = -1.5 + own * ((year - 2000) / 30) ** 0.5 + 0.1 * rng.normal()
            CheckInFactory(
                instrument=instrument, measured_at=datetime(year, 7, 2, 12, tzinfo=UTC),
                bridge_rise_mm=round(float(rise), 2), actions_mm={},
            )  # fmt: skip
    return made


def test_a_shop_that_rises_twice_as_fast_learns_it():
    made = fleet(30, 3.2)
    stored = learn_from_fleet(as_of=TODAY)
    assert stored.instruments == 30
    # The planning default is 1.6 mm in 30 years; these were made with 3.2.
    assert np.exp(stored.shop["log_rate_mean"]) == pytest.approx(3.2, rel=0.25)
    new = InstrumentFactory(built_year=2000)
    CheckInFactory(
        instrument=new, measured_at=datetime(2022, 7, 2, tzinfo=UTC), bridge_rise_mm=-0.4
    )
    learnt = compute([new.pk], TODAY)[0]
    ShopPrior.objects.all().delete()
    default = compute([new.pk], TODAY)[0]
    assert learnt.saddle_spent_early < default.saddle_spent_early
    assert len(made) == 30


def test_too_few_instruments_teach_nothing_and_what_was_learnt_goes():
    made = fleet(12, 2.0)
    assert learn_from_fleet(as_of=TODAY) is not None
    made[0].check_ins.all().delete()
    assert learn_from_fleet(as_of=TODAY) is None
    assert not ShopPrior.objects.exists()
    assert prior_for(gather([made[1].pk], TODAY, ShopProfile())) is None


def test_learning_twice_from_the_same_facts_gives_the_same():
    fleet(12, 2.0)
    first = learn_from_fleet(as_of=TODAY)
    refresh(as_of=TODAY)
    assert learn_from_fleet(as_of=TODAY).shop == first.shop


def test_groups_of_wood_bracing_and_strings_have_their_own():
    slow = fleet(15, 0.8, top_wood="Spruce", bracing="X")
    fast = fleet(15, 4.0, top_wood="cedar ", bracing="x")
    learn_from_fleet(as_of=TODAY)
    facts = gather([slow[0].pk, fast[0].pk], TODAY, ShopProfile())
    prior = prior_for(facts)
    assert prior.log_rate_mean[1] - prior.log_rate_mean[0] > np.log(1.5)
    assert rows_of(prior, np.array([1])).log_rate_mean.tolist() == [prior.log_rate_mean[1]]
    assert group_of({"top_wood": " Cedar", "bracing": "X", "strings": "steel"}) == "cedar|x|steel"


def test_a_prior_without_rows_is_left_alone():
    assert rows_of(None, np.array([0])) is None
    assert rows_of(LiftPrior(), np.array([0])) == LiftPrior()


def test_the_board_and_the_page_go_by_the_same_prior():
    made = fleet(14, 3.0)
    CheckInFactory(instrument=made[0], measured_at=datetime(2023, 7, 2, tzinfo=UTC))
    learn_from_fleet(as_of=TODAY)
    outlook = compute([made[0].pk], TODAY)[0]
    dates = counsel(made[0], as_of=TODAY).option_dates["leave"]
    assert dates["saddle_spent_likely"] == outlook.saddle_spent_likely
    assert dates["reset_late"] == outlook.reset_late


def test_the_command_learns_and_an_interrupted_run_goes_on_where_it_stopped():
    made = fleet(13, 2.0)
    out = StringIO()
    call_command("recompute_outlooks", stdout=out, stderr=StringIO())
    assert "Lift as learnt from 13 instruments." in out.getvalue()
    Outlook.objects.filter(instrument=made[3]).delete()
    Outlook.objects.filter(instrument=made[5]).update(as_of=timezone.localdate().replace(year=2020))
    Outlook.objects.filter(instrument=made[7]).update(out_of_date=True)
    learnt_at = ShopPrior.objects.get().learnt_at
    out = StringIO()
    call_command("recompute_outlooks", "--resume", stdout=out, stderr=StringIO())
    assert "3 outlooks recomputed." in out.getvalue()
    assert ShopPrior.objects.get().learnt_at == learnt_at
