"""Every reading that there is can be typed, has its hint, is shown, and may stand in a log."""

from datetime import date
from pathlib import Path

import pytest

from instruments.measuring import GROUPS
from measurements.check_ins.forms import CheckInForm
from measurements.check_ins.groups import reading_groups
from measurements.check_ins.ranges import READINGS
from measurements.check_ins.views import reading_rows
from measurements.old_records.columns import known_columns
from measurements.old_records.matching import choices
from tests.factories import CheckInFactory, InstrumentFactory

ROOT = Path(__file__).parents[3]
HINTS = (ROOT / "templates/measurements/check_ins/_hints.html").read_text(encoding="utf-8")
#: All but the action, which is read at several places.
SINGLE = [name for name in READINGS if name != "action_mm"]
#: Margins are read at the bench and no log is known to hold them.
NOT_IN_LOGS = {"margin_bass_mm", "margin_treble_mm"}


@pytest.mark.django_db
def test_each_has_a_box_in_a_group_with_a_title_and_a_hint():
    groups = reading_groups(CheckInForm(instrument=InstrumentFactory()), GROUPS, [])
    boxes = [field.name for group in groups for row in group.rows for field in row]
    assert sorted(boxes) == sorted(SINGLE)
    for group in groups:
        assert group.title
        assert f'data-hint-for="{group.key}"' in HINTS
    assert set(SINGLE) <= set(CheckInForm.FACTS)


@pytest.mark.django_db
@pytest.mark.parametrize("name", SINGLE)
def test_each_is_shown_on_the_page_of_its_check_in(name):
    usual = sum(READINGS[name].usual) / 2
    without = dict.fromkeys(SINGLE)
    assert reading_rows(CheckInFactory(**without, actions_mm={})) == []
    ((label, words, _typed),) = reading_rows(
        CheckInFactory(**without | {name: usual}, actions_mm={})
    )
    assert label
    assert f"{usual:.3g}" in words


@pytest.mark.parametrize("name", [name for name in SINGLE if name not in NOT_IN_LOGS])
def test_each_may_stand_in_a_log_and_is_offered_for_its_headings(name):
    assert name in {column.key for column in known_columns(date(2026, 1, 1)).values()}
    assert name.removesuffix("_mm") in {choice.key for choice in choices()}
