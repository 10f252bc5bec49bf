"""What a joint sheet says of the joint: its angle and adjuster, one turn of it, and what the strings pull."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from geometry.units import LengthUnit
from instruments.models import ADJUSTABLE, TURNED, JointKind
from measurements.drawings.parts import figure
from measurements.joint_sheet.figures import NEWTON_PER_LBF, Figures
from measurements.joint_sheet.forms import SheetForm
from measurements.joint_sheet.rows import Line, Row
from measurements.words import angle_words
from shop.figures import decimal, length_words

_THICKER = gettext_noop("shim thicker by %(amount)s, tapering to nothing at the pivot")
_THINNER = gettext_noop("shim thinner by %(amount)s, tapering to nothing at the pivot")
_TAKEN_OFF = gettext_noop(
    "taken off at the heel's foot: %(amount)s, tapering to nothing at the pivot"
)
_PUT_IN = gettext_noop("put in at the heel's foot: %(amount)s, tapering to nothing at the pivot")


def joint_lines(found: Figures, form: SheetForm) -> list[Line]:
    """The angle and how it is set, the gap under the board, the side trim, the travel left."""
    unit, kind, case = form.unit, form.cleaned_data["kind"], found.case
    now, after = angle_words(found.tilt_now_deg), angle_words(found.tilt_after_deg)
    rows = [Line(_("Tilt"), f"{now} → {after}" if case.tilt_deg else now)]
    if kind in TURNED:
        travel = _("%(length)s, %(turns)s turns") % {
            "length": length_words(found.travel_mm, unit),
            "turns": decimal(found.turns, 2),
        }
        rows.append(Line(_("Bolt travel"), travel))
    elif case.tilt_deg:
        rows.append(Line(_("Heel"), _wedge(found, kind, unit)))
    rows += _gap(found, unit)
    rows.append(_trim(found, unit))
    if kind in ADJUSTABLE:
        left = _("%(angle)s, %(room)s at the saddle") % {
            "angle": angle_words(case.tilt_left_deg),
            "room": length_words(case.joint_room_mm, unit),
        }
        rows.append(Line(_("Travel left"), left))
    return rows


def _wedge(found: Figures, kind: str, unit: LengthUnit) -> str:
    back, forward = (_TAKEN_OFF, _PUT_IN)
    if kind == JointKind.SHIMMED:
        back, forward = (_THICKER, _THINNER)
    return _(back if found.wedge_mm > 0 else forward) % {
        "amount": length_words(abs(found.wedge_mm), unit)
    }


def _gap(found: Figures, unit: LengthUnit) -> list[Line]:
    name = _("Gap under the board at fret %(fret)s") % {"fret": found.frets[-1]}
    rows = [Line(name, _("%(gap)s by this change") % {"gap": length_words(found.gap_mm, unit)})]
    if found.gap_full_mm is not None:
        full = length_words(found.gap_full_mm, unit)
        rows.append(Line(_("The same, least to most tilt"), full))
    return rows


def _trim(found: Figures, unit: LengthUnit) -> Line:
    at_bridge, over_joint = (length_words(float(mm), unit) for mm in found.trim)
    return Line(
        _("Side trim, one screw %(advance)s ahead")
        % {"advance": length_words(found.trim_mm, unit)},
        _("%(at_bridge)s at the bridge, string moves %(over_joint)s over fret %(fret)s")
        % {"at_bridge": at_bridge, "over_joint": over_joint, "fret": found.joint_fret},
    )


def turn_lines(found: Figures, form: SheetForm) -> list[Line]:
    """What one turn of this joint's adjuster does; nothing of a joint without one."""
    if form.cleaned_data["kind"] not in TURNED:
        return []
    unit, turn = form.unit, found.turn
    at_12 = float(turn.action_12_mm)
    rows = [
        Line(_("Pitch"), length_words(found.pitch_mm, unit)),
        Line(_("Tilt"), f"{decimal(float(turn.tilt_deg), 3)}°"),
        Line(_("At the saddle"), length_words(float(turn.rise_mm), unit)),
        Line(_("Action at 12"), length_words(at_12, unit)),
        Line(_("Action at 12, by 1/8 turn"), length_words(at_12 / 8, unit)),
    ]
    gain = found.case.before.joint.rise_gain
    if abs(gain - 1.0) > 5e-4:
        told = _("a turn does %(gain)s of what the drawing says") % {"gain": decimal(gain, 2)}
        rows.append(Line(_("This joint's log"), told))
    return rows


def every_turn_rows(found: Figures, unit: LengthUnit) -> list[Row]:
    """Every thread on record: pitch, degrees a turn, and what that lowers at saddle and fret 12."""
    return [
        Row(
            size,
            [
                figure(pitch, unit),
                decimal(float(turn.tilt_deg), 3),
                figure(float(turn.rise_mm), unit),
                figure(float(turn.action_12_mm), unit),
            ],
        )
        for size, pitch, turn in found.every_turn
    ]


def total_cells(found: Figures) -> list[str]:
    newton = sum(string.tension_n for string in found.strings)
    return [decimal(newton, 1), decimal(newton / NEWTON_PER_LBF, 1), "100 %"]


def load_lines(found: Figures, form: SheetForm) -> list[Line]:
    """Moment about the pivot, and of an adjustable joint the load on its bolt."""
    before, after = found.pull_before, found.pull
    moment = f"{decimal(after.moment_n_m.sum(), 2)} N·m"
    if found.is_changed:
        moment = f"{decimal(before.moment_n_m.sum(), 2)} → {moment}"
    rows = [Line(_("Moment about the pivot"), moment)]
    if form.cleaned_data["kind"] in TURNED:
        load = _forces(float(after.bolt_n.sum()))
        if found.is_changed:
            load = f"{_forces(float(before.bolt_n.sum()))} → {load}"
        rows.append(Line(_("Load on the bolt, from the strings alone"), load))
    return rows


def _forces(newton: float) -> str:
    return f"{decimal(newton, 0)} N ({decimal(newton / NEWTON_PER_LBF, 0)} lbf)"
