"""What a piece of work is foretold to do, where nothing is done and where one thing is."""

import numpy as np
import pytest

from geometry.balance import GaugeUncertainty
from geometry.foretell import foretell
from geometry.options import Bench
from geometry.readings import Targets, complete, two_sided
from tests.geometry.setups import NECK, TILTING, consistent


@pytest.fixture(name="bench")
def _bench() -> Bench:
    set_up = complete(NECK, consistent(1.0, (3.0, 2.2)), Targets())
    return Bench(two_sided(NECK), set_up, Targets(), TILTING, (0, 1, 12), GaugeUncertainty())


def test_no_work_changes_nothing(bench):
    found = foretell(bench)
    np.testing.assert_array_equal(found.action_after_mm, found.action_before_mm)
    np.testing.assert_array_equal(found.action_12_after_mm, bench.set_up.action_12_mm)
    np.testing.assert_array_equal(found.saddle_after_mm, (3.0, 2.2))
    assert found.bridge_rise_after_mm == pytest.approx(1.0, abs=1e-12)
    assert found.relief_after_mm == 0.2


def test_one_side_may_be_left_as_it_is(bench):
    # A string is a straight line: of 0.4 mm at the saddle, 647.7 mm from the nut, 322.6/647.7 arrive
    # at fret 12 and nothing at the nut.
    found = foretell(bench, saddle_mm=(2.6, np.nan))
    change = found.action_after_mm - found.action_before_mm
    np.testing.assert_allclose(change[:, 1], 0.0, atol=1e-12)
    np.testing.assert_allclose(change[[0, 2], 0], [0.0, -0.4 * 322.6 / 647.7], atol=1e-12)
    # and of 0.1 mm at fret 1, all of it there and nothing at the saddle
    found = foretell(bench, action_1_mm=(np.nan, 0.43))
    change = found.action_after_mm - found.action_before_mm
    np.testing.assert_allclose(change[:, 0], 0.0, atol=1e-12)
    along = np.array([0.0, 1.0 - 2.0 ** (-1 / 12), 0.5]) * 645.2 / 647.7
    np.testing.assert_allclose(change[:, 1], 0.1 * (1.0 - along) / (1.0 - along[1]), atol=1e-12)
