"""What pictures are made of: the drawing's plain shapes, the width of words, figures without units."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from django.utils.safestring import SafeString
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, pgettext

from geometry.units import LengthUnit
from measurements.models import SIDES
from measurements.words import side_words
from shop.figures import length_words

Point = tuple[float, float]
TEXT = 12.0  # size of the type. [px of the view box]
LETTER = 0.62  # widest usual letter of the type, as a share of its size
#: A side view's scales: along and up [mm], as their figures are written; and its note.
SCALE_MM: dict[LengthUnit, tuple[float, float, str, str]] = {
    "mm": (100.0, 5.0, "100", "5"),
    "in": (101.6, 5.08, "4", "0.2"),
}
FIGURES_IN: dict[LengthUnit, str] = {
    "mm": gettext_noop("Figures in mm, heights ×%(factor)s"),
    "in": gettext_noop("Figures in inches, heights ×%(factor)s"),
}


def _now_and_after() -> tuple[str, str]:
    return pgettext("short, in a drawing", "now"), pgettext("short, in a drawing", "after")


@dataclass(frozen=True)
class Measured:
    """What was measured at one check-in. [mm] None where a reading was not taken."""

    bridge_rise_mm: float | None = None
    relief_mm: float | None = None
    saddle_mm: tuple[float | None, float | None] = (None, None)
    actions_mm: Mapping[tuple[int, str], float] = field(default_factory=dict)


@dataclass(frozen=True)
class After:
    """What an option would leave, or what work has left: drawn dashed beside what was there. [mm]

    ``nut_mm`` is the string's height over the fret plane at the nut where that is known to have
    moved too; ``key`` are the words for the full and the dashed lines.
    """

    words: str
    bridge_rise_mm: float
    saddle_mm: tuple[float | None, float | None]
    actions_mm: Mapping[tuple[int, str], float] = field(default_factory=dict)
    nut_mm: tuple[float | None, float | None] = (None, None)
    key: tuple[str, str] = field(default_factory=_now_and_after)


@dataclass(frozen=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float

    @property
    def ends(self) -> SafeString:
        """Its attributes in one piece: a picture has dozens, and a template is slow at numbers."""
        return SafeString(f'x1="{self.x1}" y1="{self.y1}" x2="{self.x2}" y2="{self.y2}"')


@dataclass(frozen=True)
class Text:
    x: float
    y: float
    words: str
    anchor: str = "middle"
    after: bool = False
    over_lines: bool = False  # may stand on a line, which is then kept off it

    @property
    def place(self) -> SafeString:
        """Its attributes in one piece."""
        return SafeString(f'x="{self.x}" y="{self.y}" text-anchor="{self.anchor}"')


@dataclass(frozen=True)
class SideView:
    """Coordinates in px of the view box; y runs downwards. Point lists are ready to print.

    ``words`` say what is shown, for those who cannot see it.
    """

    width: float
    height: float
    factor: int
    title: str
    words: str
    neck: str
    board: str
    top: str
    bridge: str
    nut: str
    saddles: tuple[str, ...]
    frets: tuple[Line, ...]
    set_frets: tuple[Line, ...]
    fret_plane: Line
    joint: Line
    pivot: Point | None
    strings: tuple[str, ...]
    dots: tuple[Point, ...]
    leaders: tuple[str, ...]
    rise: Line
    after_strings: tuple[str, ...]
    after_bridge: str
    after_saddles: tuple[str, ...]
    headings: tuple[Text, ...]
    figures: tuple[Text, ...]
    notes: tuple[Text, ...]
    key: tuple[tuple[Line, Text], ...]
    body: str = ""
    rise_ends: tuple[Line, ...] = ()
    scale: str = ""
    scale_words: tuple[Text, ...] = ()


def text_width(words: str, size: float = TEXT) -> float:
    """An upper estimate of a text's width. [px]"""
    return len(words) * size * LETTER


def spread(
    wanted: Sequence[float], widths: Sequence[float], low: float, high: float
) -> list[float]:
    """Centres near the wanted ones for labels in a row, so that none overlap. [px]

    ``wanted`` must ascend. Labels keep between ``low`` and ``high`` where they fit at all.
    """
    centres = list(wanted)
    for i, (centre, width) in enumerate(zip(wanted, widths, strict=True)):
        least = low + width / 2 if i == 0 else centres[i - 1] + (widths[i - 1] + width) / 2
        centres[i] = max(centre, least)
    most = high
    for i in reversed(range(len(centres))):
        centres[i] = min(centres[i], most - widths[i] / 2)
        most = centres[i] - widths[i] / 2
    return centres


def column_words() -> tuple[str, str, str]:
    """Narrow headings: of the saddle's column, and two lines of the bridge rise's."""
    return (
        pgettext("short, in a drawing", "saddle"),
        pgettext("first of two short lines", "bridge"),
        pgettext("second of two short lines", "rise"),
    )


def fewer(frets: Sequence[int], most: int) -> list[int]:
    """As many frets as fit: the 1st and the 12th first, then the others from the body inwards."""
    ranked = sorted(frets, key=lambda fret: (fret not in (1, 12), -fret))
    return sorted(ranked[:most])


def figure(value_mm: float, unit: LengthUnit) -> str:
    """A length without its unit, for a picture that states the unit once."""
    return length_words(value_mm, unit).rsplit(" ", 1)[0]


def key_of(after: After, right: float, y: float) -> tuple[tuple[Line, Text], ...]:
    """A full and a dashed line with their words, ending at ``right`` on the height ``y``. [px]"""
    y = round(y, 1)
    samples = []
    early, later = after.key
    for words, late in ((later, True), (early, False)):
        left = right - text_width(words)
        line = Line(round(left - 23.0, 1), y - 4.0, round(left - 5.0, 1), y - 4.0)
        samples.append((line, Text(round(left, 1), y, words, "start", late)))
        right = left - 31.0  # the note on the left needs the room
    return tuple(reversed(samples))


def words_of(now: Measured, after: After | None, factor: int, unit: LengthUnit) -> str:
    """The picture in words and figures, for those who cannot see it."""
    parts = [_sentence(_("As measured") if after is None else capfirst(after.key[0]), now, unit)]
    if now.relief_mm is not None:
        parts.append(_("Relief %(relief)s.") % {"relief": length_words(now.relief_mm, unit)})
    if after is not None:
        lead = _("%(after)s, dashed (%(what)s)")
        lead %= {"after": capfirst(after.key[1]), "what": after.words}
        parts.append(_sentence(lead, after, unit))
    scale = _("To scale along the strings; heights drawn %(factor)s times larger.")
    return " ".join([*parts, scale % {"factor": factor}])


def _sentence(lead: str, source: Measured | After, unit: LengthUnit) -> str:
    parts = []
    if source.bridge_rise_mm is not None:
        rise = length_words(source.bridge_rise_mm, unit)
        parts.append(_("bridge rise %(length)s") % {"length": rise})
    if saddles := _both(dict(zip(SIDES, source.saddle_mm, strict=True)), unit):
        parts.append(_("saddle %(both)s") % {"both": saddles})
    for fret in sorted({fret for fret, _side in source.actions_mm}):
        by_side = {side: source.actions_mm.get((fret, side)) for side in SIDES}
        if actions := _both(by_side, unit):
            parts.append(_("action at fret %(fret)s %(both)s") % {"fret": fret, "both": actions})
    return f"{lead}: {'; '.join(parts) or _('nothing')}."


def _both(by_side: Mapping[str, float | None], unit: LengthUnit) -> str:
    """``2.40 mm bass, 1.90 mm treble``, or the one that is known."""
    return ", ".join(
        f"{length_words(mm, unit)} {side_words(side)}"
        for side, mm in by_side.items()
        if mm is not None
    )
