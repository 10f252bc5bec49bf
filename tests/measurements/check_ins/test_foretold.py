"""What is shown while figures are typed is what the instrument's page shows once they are saved."""

from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest
import time_machine
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from geometry.lift import components
from instruments.models import Instrument
from measurements.check_ins.views import last_lengths
from measurements.models import State
from tests.factories import CheckInFactory, InstrumentFactory, WorkFactory
from tests.measurements.check_ins.test_live import EMPTY, said
from tests.measurements.check_ins.test_views import TYPED, address, typed

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def shop(db) -> list[Instrument]:
    """Of the demo shop's, one of every joint and one of every state."""
    call_command("load_demo", stdout=StringIO())
    call_command("recompute_outlooks", verbosity=0)
    chosen: dict[str, Instrument] = {}
    for instrument in Instrument.objects.select_related("joint", "outlook"):
        if instrument.outlook.state != State.UNKNOWN:
            chosen.setdefault(instrument.joint.kind, instrument)
            chosen.setdefault(instrument.outlook.state, instrument)
    return list({instrument.pk: instrument for instrument in chosen.values()}.values())


def figures_of(instrument: Instrument, rise_by_mm: float) -> dict[str, str]:
    """The newest readings over again, the bridge higher, and the action with it by 2 : 1.

    "How To Adjust String Height at the Bridge", Acoustic Guitar magazine, 2013.
    """
    last = last_lengths(instrument)
    for name in last:
        if name == "bridge_rise_mm":
            last[name] += rise_by_mm
        elif name.startswith("action_12"):
            last[name] += rise_by_mm / 2
    return EMPTY | {name: f"{value:.2f} mm" for name, value in last.items()}


def shown(context) -> dict[str, object]:
    """Words and dates of the advice, as the panel and the page hold them."""
    return {
        "head": context["head"],
        "do this": context["do_this"],
        "reason": context["reason"],
        "suspects": context["suspects"],
        "assumptions": context["assumptions"],
        "options": [
            (row.title, row.words, row.recommended, row.actions, row.spent, row.reset, row.estimate)
            for row in context["option_rows"]
        ],
    }


def both(client, instrument, **figures: str) -> tuple[dict[str, object], dict[str, object]]:
    """What is shown of the same figures before and after saving them, unusual ones confirmed."""
    figures |= {f"{name}-is-right": text for name, text in figures.items() if name.endswith("_mm")}
    panel, _ = said(client, instrument, **figures)
    before = shown(panel)
    assert client.post(address(instrument), typed(**figures)).status_code == 302
    page = client.get(reverse("instrument", kwargs={"tag": instrument.tag}))
    return before, shown(page.context)


@pytest.mark.parametrize("rise_by_mm", [0.0, 0.15])
def test_the_same_before_and_after_saving(at_bench, shop, rise_by_mm):
    assert len(shop) >= 5
    for instrument in shop:
        before, after = both(at_bench, instrument, **figures_of(instrument, rise_by_mm))
        assert before == after, instrument.tag
        assert before["options"], instrument.tag


class TestOneInstrument:
    @pytest.fixture
    def instrument(self):
        made = InstrumentFactory(built_year=1998)
        for years, rise in ((12, 0.1), (8, 0.2), (4, 0.3), (1, 0.35)):
            CheckInFactory(
                instrument=made,
                measured_at=timezone.now() - timedelta(days=365 * years),
                bridge_rise_mm=rise,
                saddle_bass_mm=3.0,
                saddle_treble_mm=2.2,
                relief_mm=0.2,
            )
        return made

    @pytest.mark.parametrize(
        "figures",
        [
            {},
            {"bridge_rise_mm": ""},  # then the fit on record stands
            {"bridge_rise_mm": "0.40 0.50 0.45"},
            {"humidity_pct": "", "temperature_c": ""},
            {"bridge_rise_mm": "2.0", "action_12_bass_mm": "3.2", "action_12_treble_mm": "2.7"},
            EMPTY | {"saddle_bass_mm": "2.7"},
            {"day": "2026-03-01"},
        ],
    )
    def test_whatever_is_typed(self, at_bench, instrument, figures):
        before, after = both(at_bench, instrument, **TYPED | figures)
        assert before == after

    def test_a_higher_reading_makes_a_steeper_lift_while_it_is_typed(self, at_bench, instrument):
        """Else the comparison above would hold of a fit that knows nothing of what was typed."""
        rates = []
        for rise in ("0.36", "0.42"):
            panel, _ = said(at_bench, instrument, bridge_rise_mm=rise)
            rates.append(components(panel["counsel"].fit)["rate_mm_per_30_years"][0])
        assert rates[0] < rates[1]

    def test_after_work(self, at_bench, instrument):
        WorkFactory(instrument=instrument, done_at=timezone.now() - timedelta(hours=1))
        before, after = both(at_bench, instrument, **TYPED | {"saddle_bass_mm": "2.6"})
        assert before == after

    def test_a_correction_takes_the_place_of_what_was_wrong(self, at_bench, instrument):
        wrong = instrument.check_ins.order_by("measured_at").last()
        figures = TYPED | {"day": timezone.localtime(wrong.measured_at).date().isoformat()}
        panel, _ = said(at_bench, instrument, f"?replaces={wrong.uuid}", **figures)
        before = shown(panel)
        form = reverse("check-in-correct", kwargs={"uuid": wrong.uuid})
        answer = at_bench.post(form, typed(**figures, reason="misread"))
        assert answer.status_code == 302
        page = at_bench.get(reverse("instrument", kwargs={"tag": instrument.tag}))
        assert before == shown(page.context)
        assert panel["counsel"].facts.readings[0] == 4

    def test_the_forecast_is_of_before(self, at_bench, instrument):
        lines = {
            rise: next(
                line
                for line in said(at_bench, instrument, bridge_rise_mm=rise)[1][
                    "bridge_rise_mm"
                ].lines
                if "expected" in line
            )
            for rise in ("0.4", "1.1")
        }
        assert lines["0.4"] == lines["1.1"]

    def test_not_at_pitch_advises_nothing(self, at_bench, instrument):
        context, _ = said(at_bench, instrument, at_pitch="")
        assert context["summary"].startswith("Not at pitch:")
        assert "advice" not in context
