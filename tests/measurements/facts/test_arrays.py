"""From rows to arrays: undoing work, carrying figures through it, the origin of time, as-of days."""

from datetime import UTC, date, datetime

import numpy as np
import pytest

from geometry.moves import tilt_left
from instruments.models import Instrument, JointKind, NeckJoint
from measurements.advice.change import Change
from measurements.advice.counsel import counsel
from measurements.facts.arrays import gather, moisture_offset_pct
from measurements.models import WorkKind
from shop.models import ShopProfile
from tests.factories import CheckInFactory, InstrumentFactory, UserFactory, WorkFactory

pytestmark = pytest.mark.django_db

TODAY = date(2024, 6, 1)
# 290.0 mm from joint to saddle on the usual steel neck: 645.2·2^(−14/12) + 2.5
REACH = 645.2 * 2 ** (-14 / 12) + 2.5


def at(year: int, month: int = 3, day: int = 1, hour: int = 12) -> datetime:
    return datetime(year, month, day, hour, tzinfo=UTC)


def facts_of(*instruments, as_of: date = TODAY):
    return gather([instrument.pk for instrument in instruments], as_of, ShopProfile())


def turn(instrument, when: datetime, tilt_deg: float, **more):
    return WorkFactory(
        instrument=instrument,
        kind=WorkKind.JOINT,
        done_at=when,
        tilt_from_deg=0.0,
        tilt_to_deg=tilt_deg,
        saddle_bass_from_mm=None,
        saddle_bass_to_mm=None,
        **more,
    )


@pytest.fixture
def instrument():
    return InstrumentFactory(
        built_year=2000, joint__kind=JointKind.TILTING, joint__tilt_max_deg=2.0
    )


def test_a_tilt_without_readings_around_it_is_undone_by_geometry(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=1.2)
    turn(instrument, at(2010, 3, 2), 0.6)
    CheckInFactory(instrument=instrument, measured_at=at(2015), bridge_rise_mm=-1.7)
    facts = facts_of(instrument)
    # geometry.md §3, worked: b 1.2 and 0.6° give −1.8365, so the tilt did −3.0365
    assert facts.undone_mm[0] == pytest.approx([1.2, -1.7 + 3.0365], abs=2e-4)
    assert facts.offset_now_mm[0] == pytest.approx(-3.0365, abs=1e-4)


def test_a_tilt_measured_on_both_sides_is_undone_as_measured(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=1.2)
    turn(instrument, at(2010, 3, 2), 0.6)
    CheckInFactory(instrument=instrument, measured_at=at(2010, 3, 3), bridge_rise_mm=-1.5)
    facts = facts_of(instrument)
    assert facts.undone_mm[0] == pytest.approx([1.2, 1.2])
    assert facts.offset_now_mm[0] == pytest.approx(-2.7)


def test_two_steps_in_one_visit_are_undone_together(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=1.2)
    turn(instrument, at(2010, 3, 2, 9), 0.3)
    turn(instrument, at(2010, 3, 2, 10), 0.3)
    CheckInFactory(instrument=instrument, measured_at=at(2010, 3, 3), bridge_rise_mm=-1.5)
    CheckInFactory(instrument=instrument, measured_at=at(2014), bridge_rise_mm=-1.2)
    assert facts_of(instrument).undone_mm[0] == pytest.approx([1.2, 1.2, 1.5])


def test_work_after_the_last_reading_is_carried_into_the_figures_now(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=1.2)
    turn(instrument, at(2010, 3, 2), 0.6)
    WorkFactory(
        instrument=instrument,
        done_at=at(2010, 3, 3),
        saddle_bass_to_mm=2.5,
        saddle_treble_to_mm=2.1,
    )
    facts = facts_of(instrument)
    assert facts.bridge_rise_mm[0] == pytest.approx(-1.8365, abs=1e-4)
    assert facts.saddle_mm[0].tolist() == [2.5, 2.1]
    assert facts.unmeasured[0]


@pytest.mark.parametrize(
    ("work", "change"),
    [
        ({"kind": WorkKind.JOINT, "tilt_from_deg": 0.0, "tilt_to_deg": 0.5}, Change(tilt_deg=0.5)),
        (
            {"kind": WorkKind.SADDLE, "saddle_bass_to_mm": 2.5, "saddle_treble_to_mm": 2.0},
            Change(saddle_mm=(2.5, 2.0)),
        ),
        (
            {"kind": WorkKind.RELIEF, "relief_from_mm": 0.2, "relief_to_mm": 0.35},
            Change(relief_mm=0.35),
        ),
        (
            {"kind": WorkKind.NUT, "nut_bass_to_mm": 0.45, "nut_treble_to_mm": 0.3},
            Change(action_1_mm=(0.45, 0.3)),
        ),
        (
            {"kind": WorkKind.RESET, "wedge_mm": 0.5, "saddle_bass_to_mm": 3.4,
             "saddle_treble_to_mm": 2.6},
            Change(tilt_deg=float(np.degrees(np.arctan(0.5 / 90))), saddle_mm=(3.4, 2.6)),
        ),
    ],
)  # fmt: skip
def test_what_was_foretold_is_what_the_figures_become(instrument, work, change):
    CheckInFactory(instrument=instrument, measured_at=at(2010))
    foretold = counsel(instrument, as_of=date(2010, 6, 1)).foretell(change)
    columns = {"saddle_bass_from_mm": None, "saddle_bass_to_mm": None} | work
    WorkFactory(instrument=instrument, done_at=at(2010, 3, 2), **columns)
    facts = facts_of(instrument)
    assert facts.action_12_mm[0] == pytest.approx(foretold.action_12_after_mm, abs=1e-9)
    assert facts.action_1_mm[0] == pytest.approx(foretold.action_after_mm[0], abs=1e-9)
    assert facts.bridge_rise_mm[0] == pytest.approx(foretold.bridge_rise_after_mm, abs=1e-9)
    assert facts.saddle_mm[0] == pytest.approx(foretold.saddle_after_mm)
    assert facts.relief_mm[0] == pytest.approx(foretold.relief_after_mm)


def test_readings_after_the_work_take_the_place_of_what_was_carried(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010))
    turn(instrument, at(2010, 3, 2), 0.3)
    CheckInFactory(
        instrument=instrument, measured_at=at(2010, 3, 3), actions_mm={(12, "bass"): 1.9}
    )
    facts = facts_of(instrument)
    assert facts.action_12_mm[0, 0] == 1.9
    assert not facts.unmeasured[0]


def test_relief_work_turns_the_fret_plane(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=0.4)
    WorkFactory(
        instrument=instrument,
        kind=WorkKind.RELIEF,
        done_at=at(2010, 4),
        relief_from_mm=0.4,
        relief_to_mm=0.2,
        saddle_bass_from_mm=None,
        saddle_bass_to_mm=None,
    )
    facts = facts_of(instrument)
    assert facts.relief_mm[0] == 0.2
    # geometry.md §2: Δb ≈ 2·(1.5 − 0.39)·Δr
    assert facts.bridge_rise_mm[0] == pytest.approx(0.4 + 2 * (1.5 - 0.39) * -0.2, abs=1e-3)


def reset(instrument, when, **more):
    return WorkFactory(
        instrument=instrument, kind=WorkKind.RESET, done_at=when, saddle_bass_from_mm=None,
        saddle_bass_to_mm=3.2, saddle_treble_to_mm=3.0, **more,
    )  # fmt: skip


def test_after_an_unmeasured_reset_only_later_readings_count(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=1.8)
    reset(instrument, at(2010, 5))
    facts = facts_of(instrument)
    assert facts.readings[0] == 0
    assert np.isnan(facts.bridge_rise_mm[0])
    CheckInFactory(instrument=instrument, measured_at=at(2012), bridge_rise_mm=-0.5)
    facts = facts_of(instrument)
    assert facts.readings[0] == 1
    assert facts.bridge_rise_mm[0] == -0.5


def test_a_reset_with_its_wedge_is_undone_by_geometry(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=1.8)
    reset(instrument, at(2010, 5), wedge_mm=0.939)
    facts = facts_of(instrument)
    assert facts.readings[0] == 1
    # 0.939 mm at H 90 is 0.598° (worked value); × X by the small-angle rule, by hand
    assert facts.offset_now_mm[0] == pytest.approx(-REACH * np.sin(np.radians(0.598)), abs=0.01)


def test_a_new_origin_starts_time_and_readings_afresh(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=1.8)
    reset(instrument, at(2014, 6), new_origin=True)
    CheckInFactory(instrument=instrument, measured_at=at(2015, 6), bridge_rise_mm=-0.5)
    facts = facts_of(instrument)
    assert facts.readings[0] == 1
    assert facts.age_years[0][facts.weight[0] > 0] == pytest.approx([1.0], abs=0.01)
    assert facts.age_now_years[0] == pytest.approx(10.0, abs=0.01)


def test_age_runs_from_the_middle_of_the_build_year(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010, 7, 2), bridge_rise_mm=0.0)
    assert facts_of(instrument).age_years[0] == pytest.approx([10.0], abs=0.01)


def test_an_unknown_build_year_is_assumed_and_widened():
    instrument = InstrumentFactory(built_year=None)
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=0.0)
    facts = facts_of(instrument)
    assert facts.origin_assumed[0]
    assert facts.age_years[0] == pytest.approx([20.0])
    assert facts.age_sd_years[0] == 10.0


def test_a_day_in_the_past_sees_only_what_was_known_then(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=1.2)
    turn(instrument, at(2010, 3, 2), 0.6)
    instrument.joint.tilt_now_deg = 0.6
    instrument.joint.save()
    CheckInFactory(instrument=instrument, measured_at=at(2015), bridge_rise_mm=-1.7)
    facts = facts_of(instrument, as_of=date(2010, 3, 1))
    assert facts.readings[0] == 1
    assert facts.bridge_rise_mm[0] == 1.2
    assert facts.tilt_now_deg[0] == pytest.approx(0.0)
    assert facts.tilt_left_deg[0] == pytest.approx(2.0)
    assert facts_of(instrument).tilt_left_deg[0] == pytest.approx(1.4)


def test_what_was_voided_or_not_at_pitch_does_not_count(instrument):
    person = UserFactory()
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=0.1)
    CheckInFactory(instrument=instrument, measured_at=at(2011), bridge_rise_mm=9.0, at_pitch=False)
    CheckInFactory(
        instrument=instrument, measured_at=at(2012), bridge_rise_mm=9.0,
        voided_at=at(2013), voided_by=person, void_reason="typing slip",
    )  # fmt: skip
    turn(
        instrument, at(2012, 5), 0.6, voided_at=at(2013), voided_by=person, void_reason="wrong one"
    )
    facts = facts_of(instrument)
    assert facts.readings[0] == 1
    assert facts.offset_now_mm[0] == 0.0


def test_humidity_becomes_moisture_against_the_shops_climate(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010), humidity_pct=45, temperature_c=21)
    CheckInFactory(instrument=instrument, measured_at=at(2011), humidity_pct=65, temperature_c=None)
    CheckInFactory(instrument=instrument, measured_at=at(2012), humidity_pct=None)
    offsets = facts_of(instrument).moisture_offset_pct[0]
    assert offsets[0] == pytest.approx(0.0)
    # Wood Handbook table 4-2 at 21.1 °C: 12.0 % at 65 % RH, 8.5 % at 45 % RH
    assert offsets[1] == pytest.approx(12.0 - 8.5, abs=0.1)
    assert np.isnan(offsets[2])


def test_one_instrument_is_the_same_alone_and_in_a_fleet(instrument):
    other = InstrumentFactory(joint__kind=JointKind.TILTING)
    for place in range(4):
        CheckInFactory(instrument=other, measured_at=at(2011 + place), bridge_rise_mm=0.1 * place)
    turn(other, at(2013, 6), 0.4)
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=1.2)
    turn(instrument, at(2010, 3, 2), 0.6)
    CheckInFactory(instrument=instrument, measured_at=at(2015), bridge_rise_mm=-1.7)
    empty = InstrumentFactory()
    fleet = facts_of(other, instrument, empty)
    alone = facts_of(instrument)
    row = fleet.ids.tolist().index(instrument.pk)
    used = fleet.weight[row] > 0
    assert fleet.undone_mm[row][used].tolist() == alone.undone_mm[0].tolist()
    assert fleet.offset_now_mm[row] == pytest.approx(alone.offset_now_mm[0])
    assert fleet.readings.tolist() == [2, 4, 0] if row == 0 else [4, 2, 0]


def test_the_fleet_is_read_in_four_queries(instrument, django_assert_num_queries):
    instruments = [instrument, *InstrumentFactory.create_batch(3)]
    for one in instruments:
        CheckInFactory(instrument=one)
    profile = ShopProfile()
    with django_assert_num_queries(4):
        gather([one.pk for one in instruments], TODAY, profile)


class TestJointGain:
    def logged(self, instrument, pairs):
        """Turns of 0.4° each, measured on both sides; ``pairs`` are rises before and after."""
        for place, (before, after) in enumerate(pairs):
            year = 2010 + 2 * place
            CheckInFactory(instrument=instrument, measured_at=at(year, 3, 1), bridge_rise_mm=before)
            turn(instrument, at(year, 3, 2), 0.4)
            CheckInFactory(instrument=instrument, measured_at=at(year, 3, 3), bridge_rise_mm=after)

    def test_without_measured_turns_the_drawing_holds(self, instrument):
        CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=1.0)
        facts = facts_of(instrument)
        assert facts.joint_gain[0] == pytest.approx(1.0)
        assert facts.u_joint_gain[0] == pytest.approx(0.10)  # planning default

    def test_a_joint_that_moves_less_than_drawn_is_learnt(self, instrument):
        # 0.4° on 289.9 mm should lower by 2.02 mm; it lowers by 1.62, 80 %, three times.
        self.logged(instrument, [(1.0, -0.62), (0.0, -1.62), (0.0, -1.62)])
        facts = facts_of(instrument)
        # By hand: precision 1/0.1² + 3·2.024²/(2·0.2²) = 100 + 153.6; mean (100 + 0.8·153.6)/253.6
        assert facts.joint_gain[0] == pytest.approx(0.879, abs=0.005)
        assert facts.u_joint_gain[0] == pytest.approx(0.0628, abs=0.001)

    def test_what_was_learnt_goes_into_work_not_measured_and_into_the_advice(self, instrument):
        self.logged(instrument, [(1.0, -0.62), (0.0, -1.62), (0.0, -1.62)])
        turn(instrument, at(2020), 0.4)
        facts = facts_of(instrument)
        assert facts.bridge_rise_mm[0] == pytest.approx(-1.62 - 0.879 * 2.024, abs=0.01)
        assert counsel(instrument, as_of=TODAY).joint.rise_gain == facts.joint_gain[0]

    def test_the_board_gives_a_shim_the_gain_that_the_options_give_it(self, instrument):
        NeckJoint.objects.filter(instrument=instrument).update(
            kind=JointKind.SHIMMED, heel_depth_mm=90.0, shims_mm=[0.5, 1.0], shim_now_mm=0.0
        )
        instrument = Instrument.objects.get(pk=instrument.pk)
        self.logged(instrument, [(1.0, -0.62), (0.0, -1.62), (0.0, -1.62)])
        facts = facts_of(instrument)
        assert facts.joint_gain[0] < 0.95
        # By hand: 1 mm on 90 mm is 0.6366°, of which the joint makes its gain.
        assert facts.tilt_left_deg[0] == pytest.approx(0.6366 * facts.joint_gain[0], abs=0.001)
        assert facts.tilt_left_deg[0] == pytest.approx(tilt_left(counsel(instrument).joint))

    def test_relief_set_in_between_teaches_nothing_of_the_joint(self, instrument):
        CheckInFactory(instrument=instrument, measured_at=at(2010, 3, 1), bridge_rise_mm=1.0)
        turn(instrument, at(2010, 3, 2, 9), 0.4)
        WorkFactory(
            instrument=instrument, kind=WorkKind.RELIEF, done_at=at(2010, 3, 2, 10),
            relief_from_mm=0.4, relief_to_mm=0.2, saddle_bass_from_mm=None, saddle_bass_to_mm=None,
        )  # fmt: skip
        CheckInFactory(instrument=instrument, measured_at=at(2010, 3, 3), bridge_rise_mm=-1.5)
        assert facts_of(instrument).joint_gain[0] == pytest.approx(1.0)


def test_readings_from_before_work_weigh_less_by_its_doubt(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=1.2)
    turn(instrument, at(2011), 0.6)
    CheckInFactory(instrument=instrument, measured_at=at(2015), bridge_rise_mm=-1.7)
    before, after = facts_of(instrument).weight[0]
    assert after == pytest.approx(1.0)
    # 10 % of 3.0365 mm (worked value of geometry.md §3) beside the gauge's 0.2 mm
    assert before == pytest.approx(0.2**2 / (0.2**2 + 0.30365**2), abs=1e-4)


def test_saddle_work_takes_no_weight_from_earlier_readings(instrument):
    CheckInFactory(instrument=instrument, measured_at=at(2010), bridge_rise_mm=1.2)
    WorkFactory(instrument=instrument, done_at=at(2010, 3, 2))
    CheckInFactory(instrument=instrument, measured_at=at(2010, 3, 3), bridge_rise_mm=1.1)
    assert facts_of(instrument).weight[0] == pytest.approx([1.0, 1.0])


def test_repeat_readings_weigh_as_their_number_and_their_spread_say():
    weights = []
    for count, spread in ((1, None), (3, 0.1), (5, 0.05), (2, 1.0)):
        instrument = InstrumentFactory(built_year=2000)
        CheckInFactory(
            instrument=instrument, measured_at=at(2012), bridge_rise_count=count,
            bridge_rise_spread_mm=spread,
        )  # fmt: skip
        weights.append(facts_of(instrument).weight[0, 0])
    single, three, five, wild = weights
    assert single == pytest.approx(0.2**2 / ShopProfile().bridge_rise_u_mm ** 2)
    # tests/geometry/test_repeats.py works the share by hand
    assert three / single == pytest.approx(1 / 0.541333, rel=1e-5)
    assert wild < single < three < five


def test_repeat_readings_are_no_surer_of_what_work_in_between_did():
    shares = []
    for count in (1, 5):
        one = InstrumentFactory(built_year=2000, joint__kind=JointKind.TILTING)
        CheckInFactory(
            instrument=one, measured_at=at(2010), bridge_rise_mm=1.2, bridge_rise_count=count
        )
        turn(one, at(2012), 0.6)
        CheckInFactory(instrument=one, measured_at=at(2015), bridge_rise_mm=-1.7)
        before, after = facts_of(one).weight[0]
        shares.append(1 / before - 1 / after)
    # the doubt of the work adds to the variance, and averaging does not touch it
    assert shares[0] > shares[1] > 0
    noise = 0.2**2
    gained = 1 - (0.15**2 + 0.2**2 / 5) / (0.15**2 + 0.2**2)
    assert shares[0] - shares[1] == pytest.approx(gained * 0.2**2 / noise)


class TestMoisture:
    def test_the_shops_own_climate_is_no_offset(self):
        profile = ShopProfile(reference_humidity_pct=45, reference_temperature_c=21)
        offset = moisture_offset_pct(profile, np.array([45, np.nan]), np.array([np.nan, 21]))
        assert offset[0] == 0
        assert np.isnan(offset[1])

    def test_what_the_hygrometer_reads_too_high_is_taken_off(self):
        profile = ShopProfile(reference_humidity_pct=45, hygrometer_reads_high_pct=6)
        plain = ShopProfile(reference_humidity_pct=45)
        read, true = np.array([51.0, 66.0]), np.array([45.0, 60.0])
        degrees = np.array([21.0, 24.0])
        np.testing.assert_allclose(
            moisture_offset_pct(profile, read, degrees), moisture_offset_pct(plain, true, degrees)
        )

    def test_a_correction_never_leaves_what_air_can_hold(self):
        profile = ShopProfile(hygrometer_reads_high_pct=30)
        low = moisture_offset_pct(profile, np.array([5.0]), np.array([21.0]))
        assert np.isfinite(low).all()

    def test_it_reaches_the_readings_of_an_instrument(self, instrument):
        CheckInFactory(
            instrument=instrument, humidity_pct=60.0, measured_at=datetime(2024, 5, 30, tzinfo=UTC)
        )
        for high in (0.0, 15.0):
            profile = ShopProfile(hygrometer_reads_high_pct=high)
            facts = gather([instrument.pk], TODAY, profile)
            newest = facts.moisture_offset_pct[0, int(facts.readings[0]) - 1]
            assert (abs(newest) < 1e-9) == (high == 15.0)
