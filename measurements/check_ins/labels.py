"""What the places of a reading are called, at the head of a box or a row."""

from django.utils.functional import lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import gettext_noop

from measurements.models import Side

_ACTION: dict[str, str] = {
    Side.BASS: gettext_noop("Action at %(fret)s, bass"),
    Side.TREBLE: gettext_noop("Action at %(fret)s, treble"),
}
_FRET: dict[str, str] = {
    Side.BASS: gettext_noop("fret %(fret)s, bass"),
    Side.TREBLE: gettext_noop("fret %(fret)s, treble"),
}
#: Every place but those of the action, by the name of its field.
LABELS = {
    "relief_mm": _lazy("Relief"),
    "saddle_bass_mm": _lazy("Saddle, bass"),
    "saddle_treble_mm": _lazy("Saddle, treble"),
    "bridge_rise_mm": _lazy("Bridge rise"),
    "margin_bass_mm": _lazy("String to edge at joint, bass"),
    "margin_treble_mm": _lazy("String to edge at joint, treble"),
}


def action_label(fret: int, side: str) -> str:
    """``Action at 12, bass``."""
    return _(_ACTION[side]) % {"fret": fret}


#: The same for a box, whose form is made before its reader is known.
action_label_lazy = lazy(action_label, str)


def fret_words(fret: int, side: str) -> str:
    """``fret 12, bass``: where it is clear that the action is meant."""
    return _(_FRET[side]) % {"fret": fret}
