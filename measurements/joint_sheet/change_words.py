"""What a joint sheet changes, in words, and what speaks against it."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from geometry.units import LengthUnit
from instruments.models import TURNED
from measurements.joint_sheet.figures import Figures
from measurements.joint_sheet.forms import SheetForm
from measurements.models import SIDES, Side
from measurements.words import angle_words, change_words, turn_words
from shop.figures import decimal, length_words, turns_words

_SADDLE: dict[str, str] = {
    Side.BASS: gettext_noop("Saddle, bass: %(change)s"),
    Side.TREBLE: gettext_noop("Saddle, treble: %(change)s"),
}
_NUT_HIGHER: dict[str, str] = {
    Side.BASS: gettext_noop("Nut slot, bass: string %(amount)s higher"),
    Side.TREBLE: gettext_noop("Nut slot, treble: string %(amount)s higher"),
}
_NUT_LOWER: dict[str, str] = {
    Side.BASS: gettext_noop("Nut slot, bass: string %(amount)s lower"),
    Side.TREBLE: gettext_noop("Nut slot, treble: string %(amount)s lower"),
}
_BELOW_FLOOR: dict[str, str] = {
    Side.BASS: gettext_noop("Saddle, bass, %(height)s: below the shop's floor of %(floor)s."),
    Side.TREBLE: gettext_noop("Saddle, treble, %(height)s: below the shop's floor of %(floor)s."),
}
_PLACE: dict[str, str] = {
    Side.BASS: gettext_noop("%(fret)s bass"),
    Side.TREBLE: gettext_noop("%(fret)s treble"),
}
#: So many places where a string lies on the frets are named.
MOST_PLACES = 6


def change_lines(found: Figures, form: SheetForm) -> list[str]:
    """Angle, saddle, relief and nut slots, as far as they change."""
    unit, case = form.unit, found.case
    before, after = case.before.set_up, case.after.set_up
    lines = [_tilt(found, form)] if case.tilt_deg else []
    for side, was, now in zip(SIDES, before.saddle_mm, after.saddle_mm, strict=True):
        if was != now:
            change = change_words(float(was), float(now), unit)
            lines.append(_(_SADDLE[side]) % {"change": change})
    if float(before.relief_mm) != float(after.relief_mm):
        change = change_words(float(before.relief_mm), float(after.relief_mm), unit)
        lines.append(_("Relief: %(change)s") % {"change": change})
    for side, moved in zip(SIDES, case.nut_change_mm, strict=True):
        if moved:
            words = _NUT_HIGHER if moved > 0 else _NUT_LOWER
            lines.append(_(words[side]) % {"amount": length_words(abs(float(moved)), unit)})
    return lines


def _tilt(found: Figures, form: SheetForm) -> str:
    change = f"{angle_words(found.tilt_now_deg)} → {angle_words(found.tilt_after_deg)}"
    if form.cleaned_data["kind"] in TURNED:
        change += f", {_turns_words(found.turns, form)}"
    return _("Tilt %(change)s") % {"change": change}


def _turns_words(turns: float, form: SheetForm) -> str:
    """The way the hand turns where a joint is on record, else what the turning is for."""
    instrument = form.start.instrument
    lowering = "" if instrument is None else str(instrument.joint.lowering_turn)
    if lowering:
        return turn_words(turns, lowering)
    size = abs(turns)
    if abs(size * 16 - round(size * 16)) < 1e-6:
        amount = turns_words(size)
    else:
        amount = _("%(figure)s turns") % {"figure": decimal(size, 2)}
    if turns >= 0:
        return _("%(turns)s to lower the action") % {"turns": amount}
    return _("%(turns)s to raise the action") % {"turns": amount}


def warning_lines(found: Figures, form: SheetForm) -> list[str]:
    """What the joint, the saddle or the frets do not allow."""
    said = []
    typed = form.cleaned_data
    least, most, after = typed["tilt_min_deg"], typed["tilt_max_deg"], found.tilt_after_deg
    if typed["kind"] in TURNED and not least - 1e-9 <= after <= most + 1e-9:
        said.append(
            _("Tilt %(tilt)s is beyond this joint's travel, %(least)s to %(most)s.")
            % {"tilt": angle_words(after), "least": angle_words(least), "most": angle_words(most)}
        )
    if form.start.one_way and found.case.tilt_deg < 0:
        said.append(
            _("On record this joint may only be tilted back: the what-if tilts it forward.")
        )
    said += _low_saddles(found, form.start.profile.saddle_floor_mm, form.unit)
    places = _on_the_frets(found)
    if places:
        words = _("The string would lie on the frets: fret %(places)s.")
        said.append(words % {"places": ", ".join(places[:MOST_PLACES])})
    return said


def _low_saddles(found: Figures, floor_mm: float, unit: LengthUnit) -> list[str]:
    floor = length_words(floor_mm, unit)
    return [
        _(_BELOW_FLOOR[side]) % {"height": length_words(float(height), unit), "floor": floor}
        for side, height in zip(SIDES, found.case.after.set_up.saddle_mm, strict=True)
        if height < floor_mm - 0.005
    ]


def _on_the_frets(found: Figures) -> list[str]:
    """``3 bass``: the frets on which a string would lie."""
    return [
        _(_PLACE[side]) % {"fret": fret}
        for fret, row in zip(found.frets, found.case.foretold.action_after_mm, strict=True)
        for side, action in zip(SIDES, row, strict=True)
        if action < 0
    ]
