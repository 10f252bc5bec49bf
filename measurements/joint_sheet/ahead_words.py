"""What a joint sheet says of the next thirty years: the lift to come, and what takes it up."""

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from geometry.units import LengthUnit
from instruments.models import ADJUSTABLE, TURNED
from measurements.drawings.parts import figure
from measurements.joint_sheet.figures import Figures
from measurements.joint_sheet.forms import SheetForm
from measurements.joint_sheet.rows import Row
from measurements.words import angle_words
from shop.figures import length_words

#: By how much of the lift is covered, the high figure, the likely one or less: of joints without
#: room of their own, and of those with it.
_SADDLE_ALONE = (
    gettext_noop("The saddle's room (%(saddle)s) covers even the high figure."),
    gettext_noop("The saddle's room (%(saddle)s) covers the likely lift, not the high one."),
    gettext_noop(
        "The saddle's room (%(saddle)s) does not cover the likely lift: a reset comes before."
    ),
)
_BOTH = (
    gettext_noop(
        "The room of joint and saddle together (%(joint)s + %(saddle)s) covers even the high figure."
    ),
    gettext_noop(
        "The room of joint and saddle together (%(joint)s + %(saddle)s) covers the likely lift, not "
        "the high one."
    ),
    gettext_noop(
        "The room of joint and saddle together (%(joint)s + %(saddle)s) does not cover the likely "
        "lift: a reset comes before."
    ),
)


def chances() -> tuple[str, ...]:
    """The headings of the three columns."""
    return _("low, 10 %"), _("likely, 50 %"), _("high, 90 %")


def ahead_rows(found: Figures, form: SheetForm) -> list[Row]:
    """Lift, and what takes it up, in the columns of ``chances``."""
    unit, kind, need = form.unit, form.cleaned_data["kind"], found.cover
    least = form.cleaned_data["tilt_min_deg"]
    rows = [
        Row(_("Lift from now, %(unit)s") % {"unit": unit}, _figures(need.lift_mm, unit)),
        Row(_("Bridge rise then, %(unit)s") % {"unit": unit}, _figures(found.rise_then_mm, unit)),
        Row(_("Tilt that takes it up"), [angle_words(float(deg)) for deg in need.tilt_deg]),
    ]
    if kind in TURNED:
        whole = [found.tilt_after_deg - least + float(deg) for deg in need.tilt_deg]
        rows.append(Row(_("Tilt range that needs"), [angle_words(deg) for deg in whole]))
    if kind in ADJUSTABLE:
        rows.append(Row(_("Travel left covers it"), _verdicts(need.by_joint)))
        rows.append(Row(_("Travel and saddle cover it"), _verdicts(need.with_saddle)))
    else:
        rows.append(Row(_("Saddle covers it"), _verdicts(need.with_saddle)))
    return rows


def _figures(lengths_mm: np.ndarray, unit: LengthUnit) -> list[str]:
    return [figure(float(mm), unit) for mm in lengths_mm]


def _verdicts(covered: np.ndarray) -> list[str]:
    return [_("yes") if one else _("no") for one in covered]


def verdict_lines(found: Figures, form: SheetForm) -> list[str]:
    """Whether the room there is covers the lift to come, in sentences."""
    unit, kind, case = form.unit, form.cleaned_data["kind"], found.case
    low, likely, high = (length_words(float(mm), unit) for mm in found.cover.lift_mm)
    lift = _(
        "Lift in 30 years: likely %(likely)s, in four cases of five between %(low)s and %(high)s "
        "(%(source)s)."
    ) % {"likely": likely, "low": low, "high": high, "source": form.start.lift.source}
    by_likely, by_high = found.cover.with_saddle[1:]
    sentence = (_BOTH if kind in ADJUSTABLE else _SADDLE_ALONE)[
        0 if by_high else 1 if by_likely else 2
    ]
    rooms = {
        "joint": length_words(case.joint_room_mm, unit),
        "saddle": length_words(case.saddle_room_mm, unit),
    }
    said = [lift, _(sentence) % rooms]
    if kind in TURNED:
        said.append(_by_joint_alone(found, form))
    return said


def _by_joint_alone(found: Figures, form: SheetForm) -> str:
    most, least = form.cleaned_data["tilt_max_deg"], form.cleaned_data["tilt_min_deg"]
    likely, high = (
        angle_words(max(found.tilt_after_deg - least + float(found.cover.tilt_deg[place]), 0.0))
        for place in (1, 2)
    )
    return _(
        "By the joint alone the likely lift needs a tilt range of %(likely)s, the high one %(high)s; "
        "this joint has %(has)s."
    ) % {"likely": likely, "high": high, "has": angle_words(most - least)}
