"""Every place that treats kinds of joint apart knows every kind."""

import re
from pathlib import Path

import pytest

from geometry import readings
from instruments.models import ADJUSTABLE, TURNED, JointKind
from measurements.joint_sheet.forms import NO_ADJUSTER
from measurements.models import WorkKind
from measurements.work.forms import work_form_class, work_kinds
from tests.factories import InstrumentFactory

README = Path(__file__).parents[2] / "README.md"


def test_geometry_knows_the_same_kinds():
    assert tuple(JointKind.values) == readings.JOINT_KINDS
    assert TURNED == readings.TURNED
    assert ADJUSTABLE == readings.ADJUSTABLE


def test_turns_are_refused_for_every_kind_without_a_screw():
    assert set(NO_ADJUSTER) == set(JointKind) - set(TURNED)


@pytest.mark.django_db
@pytest.mark.parametrize("kind", JointKind)
def test_what_can_be_set_has_a_form_and_its_words(kind):
    instrument = InstrumentFactory(joint__kind=kind)
    words = dict(work_kinds(instrument)).get(WorkKind.JOINT, "")
    assert bool(words) == (kind in ADJUSTABLE)
    form = work_form_class(WorkKind.JOINT, instrument)
    assert (form is not None and "turns" in form.base_fields) == (kind in TURNED)


def test_the_readme_names_every_kind_that_a_log_may_hold():
    row = re.search(r"^\| `joint_kind,.*", README.read_text(encoding="utf-8"), re.MULTILINE)
    assert row is not None
    assert set(JointKind.values) <= set(re.findall(r"`(\w+)`", row[0]))
