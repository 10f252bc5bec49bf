"""String sets and threads against published figures."""

import pytest

from geometry.strings import pitch_frequency, string_tension
from geometry.tuning import semitones_of
from instruments.string_sets import (
    USUAL_SETS,
    plain_steel_kg_m,
    set_named,
    sources,
    string_sets,
    threads,
    tuning,
)
from tests.geometry.reference_files import rows

MM_PER_IN, N_PER_LBF = 25.4, 4.4482216152605
# The chart's formula divides by 386.4 in/s²; standard gravity is 386.0886.
CHART_READS_LOW = 386.4 / 386.0886


def pull_lbf(one, scale_in):
    notes = [semitones_of(string.note) for string in one.strings]
    masses = [string.kg_m for string in one.strings]
    return string_tension(masses, scale_in * MM_PER_IN, pitch_frequency(notes)) / N_PER_LBF


def test_the_light_set_pulls_as_the_published_table_says():
    # tests/reference/light_set_tension.csv names its source; the total of the table is 163.26 lbf at
    # 25.5 in by the chart's rounded gravity. Unit weights are good to 0.1 %.
    pulls = pull_lbf(string_sets()["light-12-53"], 25.5)
    table = [float(row["tension_lbf"]) * CHART_READS_LOW for row in rows("light_set_tension.csv")]
    assert pulls == pytest.approx(table, rel=1e-3)
    assert pulls.sum() == pytest.approx(163.26 * CHART_READS_LOW, rel=5e-4)


@pytest.mark.parametrize(("scale_in", "total_lbf"), [(25.4, 161.99), (24.75, 153.80)])
def test_the_light_set_on_other_scales(scale_in, total_lbf):
    # By the same chart's formula, worked out for two more scales.
    total = pull_lbf(string_sets()["light-12-53"], scale_in).sum()
    assert total == pytest.approx(total_lbf * CHART_READS_LOW, rel=5e-4)


def test_heavier_sets_pull_more():
    keys = ("extra-light-10-47", "custom-light-11-52", "light-12-53", "medium-13-56")
    totals = [pull_lbf(string_sets()[key], 25.4).sum() for key in keys]
    assert totals == sorted(totals)
    # Common practice, no source: nylon pulls some 80 to 90 lbf, about half of light steel.
    assert 75 < pull_lbf(string_sets()["nylon-normal"], 650 / 25.4).sum() < 95


@pytest.mark.parametrize(
    ("gauge_in", "unit_weight_lb_in"), [(0.010, 0.00002215), (0.017, 0.00006402)]
)
def test_a_plain_string_weighs_as_its_section(gauge_in, unit_weight_lb_in):
    # Chart's unit weights against music wire of 7.8 g/cm³ (data sheet of ASTM A228, makeitfrom.com).
    in_chart = unit_weight_lb_in * 0.45359237 / 0.0254
    assert plain_steel_kg_m(gauge_in * MM_PER_IN) == pytest.approx(in_chart, rel=2e-3)


def test_a_set_is_known_by_what_people_write():
    for text in ("light, bronze", "Light 12-53", ".012–.053", "0.012", "12s"):
        assert set_named(text, "steel").key == "light-12-53", text
    assert set_named("extra light", "steel").key == "extra-light-10-47"
    assert set_named("custom light", "steel").key == "custom-light-11-52"
    assert set_named("13-56", "steel").key == "medium-13-56"
    assert set_named("Normal tension", "nylon").key == "nylon-normal"
    for text in ("", "unknown", "1012", "2012 set"):
        assert set_named(text, "steel") is None, text


def test_every_set_has_six_strings_a_source_and_the_usual_tuning():
    for one in string_sets().values():
        assert [string.note for string in one.strings] == list(tuning())
        assert all(string.source in sources() for string in one.strings)
    assert all(string_sets()[key].material == kind for kind, key in USUAL_SETS.items())


@pytest.mark.parametrize("row", rows("threads.csv"), ids=lambda r: r["size"])
def test_thread_pitches_are_the_standards(row):
    # ISO 261/262 coarse series, ASME B1.1; the file says so.
    found = threads()[row["size"]]
    assert found.pitch_mm == pytest.approx(float(row["pitch_mm"]), abs=6e-7)
    assert (found.series, found.source in sources()) == (row["series"], True)


def test_every_thread_is_in_the_table():
    assert set(threads()) == {row["size"] for row in rows("threads.csv")}
