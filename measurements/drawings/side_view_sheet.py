"""Works out the side view: every shape and figure of one picture."""

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property

import numpy as np
from django.utils.translation import gettext as _

from geometry.action import Neck, camber_at, sag_per_relief
from geometry.constants import MAX_FRET
from geometry.frets import fret_distance
from geometry.units import LengthUnit
from measurements.drawings.parts import (
    FIGURES_IN,
    SCALE_MM,
    After,
    Line,
    Measured,
    Point,
    SideView,
    Text,
    column_words,
    fewer,
    figure,
    key_of,
    spread,
    text_width,
)
from measurements.models import SIDES
from measurements.words import side_words
from shop.figures import localized

NARROW = 340  # px of the view box: a phone, where its type is then as large as the page's small one
WIDE = 720  # a desk or an A4 page
FACTORS = (20, 16, 12, 10, 8, 6, 5, 4, 3, 2, 1)
PLOT_HEIGHT = {NARROW: 150.0, WIDE: 190.0}
LEFT, RIGHT, ROW, ELBOW = 10.0, 6.0, 16.0, 18.0

# Of the picture only, not measured: usual sizes (bridge: 6.4–7.9 mm is common, "Neck resets",
# Acoustic Guitar magazine; the rest common practice, no source).
BRIDGE_MM = 7.0
BOARD_MM = 6.0
FRET_MM = 1.0
TOP_MM = 2.8
HEAD_MM, TAIL_MM = 16.0, 62.0
BRIDGE_FRONT_MM, BRIDGE_BACK_MM = 9.0, 21.0
RISE_MARK_MM = 34.0
LEAST_DEPTH_MM, MOST_DEPTH_MM = 16.0, 24.0


class Sheet:
    """Works out one picture. Lengths in mm come in, px of the view box go out."""

    def __init__(
        self,
        neck: Neck,
        now: Measured,
        rise_mm: float,
        lines: Mapping[str, Point | None],
        after: After | None,
        fret_count: int,
        pivot_mm: Point | None,
        unit: LengthUnit,
        width: int,
    ) -> None:
        self.neck, self.now, self.rise_mm, self.lines = neck, now, rise_mm, lines
        self.after, self.fret_count, self.pivot_mm = after, fret_count, pivot_mm
        self.unit, self.width = unit, width
        self.saddle_x_mm, self.joint_x_mm = float(neck.saddle_line_mm), float(neck.joint_mm)
        self.end_mm = self.saddle_x_mm + TAIL_MM
        self.per_mm = (width - LEFT - RIGHT) / (self.end_mm + HEAD_MM)
        self.depth_mm = max(self._depths())
        peak_mm = max(self._peaks())
        room = PLOT_HEIGHT[width] / ((peak_mm + self.depth_mm) * self.per_mm)
        self.factor = next((factor for factor in FACTORS if factor <= room), FACTORS[-1])
        self.table = ROW * (2 + len(self._rows())) + 2.0
        self.zero = self.table + ELBOW + 4.0 + peak_mm * self.per_mm * self.factor

    def _depths(self) -> Iterable[float]:
        yield LEAST_DEPTH_MM
        yield BRIDGE_MM - self.rise_mm + TOP_MM + 2.0
        if self.pivot_mm is not None:
            yield min(3.0 - self.pivot_mm[1], MOST_DEPTH_MM)

    def _peaks(self) -> Iterable[float]:
        yield 2.0
        yield self.rise_mm + max(saddle or 0.0 for saddle in self.now.saddle_mm)
        for line in self.lines.values():
            yield from line or ()
        if self.after is not None:
            yield from (self.after.bridge_rise_mm + (mm or 0.0) for mm in self.after.saddle_mm)

    def x(self, mm: float) -> float:
        return round(LEFT + (mm + HEAD_MM) * self.per_mm, 1)

    def y(self, mm: float) -> float:
        return round(self.zero - mm * self.per_mm * self.factor, 1)

    def points(self, *at_mm: Point) -> str:
        return " ".join(f"{self.x(x)},{self.y(y)}" for x, y in at_mm)

    def line(self, x1: float, y1: float, x2: float, y2: float) -> Line:
        return Line(self.x(x1), self.y(y1), self.x(x2), self.y(y2))

    def fret_x(self, fret: int) -> float:
        return self._at_frets[fret][0]

    def crown(self, fret: int) -> float:
        """The fret's crown on the centre line. [mm]"""
        return self._at_frets[fret][1]

    def edge(self, fret: int) -> float:
        """The fret's crown under an outer string. [mm]"""
        return self._at_frets[fret][2]

    @cached_property
    def _at_frets(self) -> list[tuple[float, float, float]]:
        """Distance, crown and edge of every fret from the nut on, worked out at once. [mm]"""
        fret = np.arange(MAX_FRET + 1)
        crown = -(self.now.relief_mm or 0.0) * sag_per_relief(self.neck, fret)
        edge = crown - camber_at(self.neck, fret)
        distance = fret_distance(self.neck.scale_length_mm, fret)
        return list(
            zip(*(a.tolist() for a in np.broadcast_arrays(distance, crown, edge)), strict=True)
        )

    def view(self, title: str, words: str) -> SideView:
        set_frets = self._frets()
        others = [fret for fret in range(1, self.fret_count + 1) if fret not in set_frets]
        headings, figures, leaders = self._table(set_frets)
        after, bottom = self.after, self.y(-self.depth_mm)
        return SideView(
            width=self.width,
            height=round(bottom + ROW * 2 + 6.0, 1),
            factor=self.factor,
            title=title,
            words=words,
            neck=self._neck(),
            board=self._board(),
            top=self._top(),
            bridge=self._bridge(),
            nut=self._nut(),
            saddles=self._saddles(self.rise_mm, self.now.saddle_mm),
            frets=tuple(self._fret(fret) for fret in others),
            set_frets=tuple(self._fret(fret) for fret in set_frets),
            fret_plane=self.line(self.fret_x(1), 0.0, self.saddle_x_mm + RISE_MARK_MM + 6.0, 0.0),
            joint=self.line(self.joint_x_mm, self._deck_mm(), self.joint_x_mm, -self.depth_mm),
            pivot=self._pivot(),
            strings=tuple(self._strings()),
            dots=tuple(self._dots(self.now.actions_mm)),
            leaders=leaders,
            rise=self._rise_mark(),
            rise_ends=tuple(self._rise_ends()),
            body=self._body(),
            scale=self._scale(),
            scale_words=tuple(self._scale_words()),
            after_strings=tuple(self._strings(after)) if after else (),
            after_bridge=self._bridge_top(after.bridge_rise_mm) if after else "",
            after_saddles=self._saddles(after.bridge_rise_mm, after.saddle_mm) if after else (),
            headings=headings,
            figures=figures,
            notes=tuple(self._notes(bottom)),
            key=key_of(after, self.width - 2.0, bottom + ROW * 2) if after else (),
        )

    # The instrument

    def _deck_mm(self) -> float:
        """The underside of the board at the joint, which is the top's upper face there."""
        return self.edge(round(float(np.asarray(self.neck.joint_fret)))) - FRET_MM - BOARD_MM

    def _surface(self) -> list[Point]:
        frets = range(self.fret_count + 1)
        shape = [(self.fret_x(fret), self.edge(fret) - FRET_MM) for fret in frets]
        end_mm = min(shape[-1][0] + 7.0, self.saddle_x_mm - 2 * BRIDGE_FRONT_MM)
        return [*(point for point in shape if point[0] < end_mm), (end_mm, shape[-1][1])]

    def _board(self) -> str:
        surface = self._surface()
        under = [(x, y - BOARD_MM) for x, y in reversed(surface)]
        return self.points(*surface, *under)

    def _neck(self) -> str:
        nut_mm = self.edge(0) - FRET_MM
        return self.points(
            (-HEAD_MM, nut_mm - 2.5),
            (-5.0, nut_mm),
            (0.0, nut_mm),
            (0.0, nut_mm - BOARD_MM),
            (self.joint_x_mm, self._deck_mm()),
            (self.joint_x_mm, -self.depth_mm),
            (-HEAD_MM, -self.depth_mm),
        )

    def _nut(self) -> str:
        foot = self.edge(0) - FRET_MM
        heights = [line[0] for line in self.lines.values() if line is not None]
        crown = max([*heights, foot + 1.2])
        return self.points((-5.0, foot), (-5.0, crown - 0.3), (0.0, crown), (0.0, foot))

    def _fret(self, fret: int) -> Line:
        x_mm, edge_mm = self.fret_x(fret), self.edge(fret)
        return self.line(x_mm, edge_mm - FRET_MM, x_mm, self.crown(fret))

    def _top(self) -> str:
        """A path: level at the joint, level again under the bridge, falling off behind it."""
        start, middle, end = self.joint_x_mm, self.saddle_x_mm + 6.0, self.end_mm
        reach_mm = middle - start
        deck, seat = self._deck_mm(), self.rise_mm - BRIDGE_MM
        tail = min(seat, (seat + deck) / 2)
        upper = [
            (start + 0.5 * reach_mm, deck), (middle - 0.4 * reach_mm, seat), (middle, seat),
            (middle + 15.0, seat), (end - 20.0, tail), (end, tail),
        ]  # fmt: skip
        lower = [(x, y - TOP_MM) for x, y in [(start, deck), *upper]][::-1]
        return (
            f"M{self.points((start, deck))} C{self.points(*upper)} "
            f"L{self.points(lower[0])} C{self.points(*lower[1:])} Z"
        )

    def _body(self) -> str:
        """What lies under the top, as far down as the picture goes."""
        deck, low = self._deck_mm(), -self.depth_mm
        tail = self.rise_mm - BRIDGE_MM
        tail = min(tail, (tail + deck) / 2)
        # The top is drawn over it, so that a straight upper edge below the top is enough.
        upper = [(self.joint_x_mm, deck - TOP_MM / 2), (self.end_mm, tail - TOP_MM / 2)]
        return self.points(*upper, (self.end_mm, low), (self.joint_x_mm, low))

    def _scale(self) -> str:
        """An upright and a level length in one corner, which show how much heights are stretched."""
        along, up, *_ = SCALE_MM[self.unit]
        x, y = self._scale_corner()
        return self.points((x, y + up), (x, y), (x + along, y))

    def _scale_corner(self) -> Point:
        return -HEAD_MM + 8.0 / self.per_mm, -self.depth_mm + 8.0 / (self.per_mm * self.factor)

    def _scale_words(self) -> Iterable[Text]:
        along, up, level, upright = SCALE_MM[self.unit]
        x, y = self._scale_corner()
        yield Text(self.x(x + along) + 5.0, self.y(y) + 4.0, f"{level} {self.unit}", "start")
        middle = self.y(y + up / 2) + 4.0  # not at its end, where words about relief may reach
        yield Text(self.x(x) + 5.0, middle, f"{localized(upright)} {self.unit}", "start")

    def _bridge(self) -> str:
        x, b = self.saddle_x_mm, self.rise_mm
        seat = b - BRIDGE_MM
        return self.points(
            (x - BRIDGE_FRONT_MM - 2.0, seat), (x - BRIDGE_FRONT_MM, seat + 2.5),
            (x - BRIDGE_FRONT_MM + 2.0, b), (x + BRIDGE_BACK_MM - 4.0, b),
            (x + BRIDGE_BACK_MM, seat + 2.5), (x + BRIDGE_BACK_MM + 2.0, seat),
        )  # fmt: skip

    def _bridge_top(self, rise_mm: float) -> str:
        x = self.saddle_x_mm
        return self.points((x - BRIDGE_FRONT_MM, rise_mm), (x + BRIDGE_BACK_MM, rise_mm))

    def _saddles(self, rise_mm: float, saddle_mm: Sequence[float | None]) -> tuple[str, ...]:
        """One upright for each measured side, the taller one first so that the other shows."""
        x, half = self.saddle_x_mm, max(1.5, 1.8 / self.per_mm)
        heights = sorted({rise_mm + mm for mm in saddle_mm if mm is not None}, reverse=True)
        return tuple(
            self.points((x - half, rise_mm), (x - half, at), (x + half, at), (x + half, rise_mm))
            for at in heights
        )

    def _strings(self, after: After | None = None) -> Iterable[str]:
        """Nut to saddle, then down to the bridge; ``after`` keeps the nut unless it knows better."""
        rise = self.rise_mm if after is None else after.bridge_rise_mm
        for number, side in enumerate(SIDES):
            nut, at_saddle = self.lines[side] or (None, None)
            if after is not None:
                nut = nut if after.nut_mm[number] is None else after.nut_mm[number]
                saddle = after.saddle_mm[number]
                at_saddle = None if saddle is None else rise + saddle
            if nut is not None and at_saddle is not None:
                tail = (self.saddle_x_mm + 12.0, rise)
                yield self.points((0.0, nut), (self.saddle_x_mm, at_saddle), tail)

    def _pivot(self) -> Point | None:
        if self.pivot_mm is None or -self.pivot_mm[1] > self.depth_mm:
            return None
        return self.x(self.pivot_mm[0]), self.y(self.pivot_mm[1])

    # What was measured

    def _dots(self, actions_mm: Mapping[tuple[int, str], float]) -> Iterable[Point]:
        for (fret, _side), mm in sorted(actions_mm.items()):
            if fret <= self.fret_count:
                yield self.x(self.fret_x(fret)), self.y(self.edge(fret) + mm)

    def _rise_mark(self) -> Line:
        x_mm = self.saddle_x_mm + RISE_MARK_MM
        return self.line(x_mm, 0.0, x_mm, self.rise_mm)

    def _rise_ends(self) -> Iterable[Line]:
        x = self.x(self.saddle_x_mm + RISE_MARK_MM)
        for mm in (0.0, self.rise_mm):
            yield Line(round(x - 4.0, 1), self.y(mm), round(x + 4.0, 1), self.y(mm))

    def _table(
        self, frets: Sequence[int]
    ) -> tuple[tuple[Text, ...], tuple[Text, ...], tuple[str, ...]]:
        """Figures above the picture: a column for each set fret, the saddle and the bridge rise."""
        labels = self._rows()
        suffix = f", {self.after.key[1]}" if self.after else ""
        named = [side_words(side) + suffix * late for side, late in labels]
        left, right = max(text_width(words) for words in named) + 4.0, self.width - 2.0
        column = max(text_width(words) for words in self._printed_figures(labels)) + 5.0
        frets = fewer(frets, int((right - left) / column) - 2)
        targets = [(self.fret_x(fret), self.edge(fret)) for fret in frets]
        targets.append((self.saddle_x_mm, self.rise_mm + max(s or 0.0 for s in self.now.saddle_mm)))
        targets.append((self.saddle_x_mm + RISE_MARK_MM, max(self.rise_mm, 0.0)))
        wanted = [self.x(x_mm) for x_mm, _ in targets]
        centres = [round(c, 1) for c in spread(wanted, [column] * len(wanted), left, right)]
        cells = []
        for number, (side, late) in enumerate(labels):
            values = zip(centres, self._row(side, late, frets), strict=True)
            y = ROW * (number + 3)
            cells += [
                Text(c, y, figure(mm, self.unit), "middle", late)
                for c, mm in values
                if mm is not None
            ]
        heads = self._headings(frets, centres)
        heads += [
            Text(0.0, ROW * (number + 3), words, "start", late)
            for number, (words, (_, late)) in enumerate(zip(named, labels, strict=True))
        ]
        leaders = tuple(
            f"{c},{self.table + 3} {c},{self.table + 5} {x},{self.table + ELBOW} {x},{self.y(at)}"
            for c, x, (_, at) in zip(centres, wanted, targets, strict=True)
        )
        return tuple(heads), tuple(cells), leaders

    def _printed_figures(self, labels: Sequence[tuple[str, bool]]) -> Iterable[str]:
        yield from column_words()
        for side, late in labels:
            for mm in self._row(side, late, self._frets()):
                if mm is not None:
                    yield figure(mm, self.unit)

    def _headings(self, frets: Sequence[int], centres: Sequence[float]) -> list[Text]:
        saddle, rise = centres[-2:]
        heads = [Text(c, ROW * 2, str(fret)) for fret, c in zip(frets, centres, strict=False)]
        if frets:
            heads.append(Text(centres[0] - 8.0, ROW, _("action at fret"), "start"))
        saddle_words, first, second = column_words()
        heads.append(Text(saddle, ROW * 2, saddle_words))
        return [*heads, Text(rise, ROW, first), Text(rise, ROW * 2, second)]

    def _rows(self) -> list[tuple[str, bool]]:
        """The rows that have any figure: a side, and whether it is of the option."""
        rows = [(side, late) for late in (False, True) for side in SIDES if self.after or not late]
        frets = self._frets()
        return [row for row in rows if any(mm is not None for mm in self._row(*row, frets))]

    def _frets(self) -> list[int]:
        """The frets that have a figure, now or after, as far as the board goes."""
        after = self.after.actions_mm if self.after else {}
        frets = {fret for fret, _ in (*self.now.actions_mm, *after)}
        return sorted(fret for fret in frets if fret <= self.fret_count)

    def _row(self, side: str, late: bool, frets: Sequence[int]) -> list[float | None]:
        """One row of figures; the bridge rise belongs to both sides and stands in the bass row."""
        source: Measured | After = self.after if late and self.after else self.now
        rise = source.bridge_rise_mm if side == "bass" else None
        return [
            *(source.actions_mm.get((fret, side)) for fret in frets),
            source.saddle_mm[SIDES.index(side)],
            rise,
        ]

    # Words in the picture

    def _notes(self, bottom: float) -> Iterable[Text]:
        joint = round(float(np.asarray(self.neck.joint_fret)))
        yield Text(
            self.x(self.joint_x_mm),
            bottom + ROW - 3.0,
            _("joint at fret %(fret)s") % {"fret": joint},
        )
        if self.now.relief_mm is not None:
            y = self.y(self._deck_mm()) + 14.0
            words = _("relief %(figure)s") % {"figure": figure(self.now.relief_mm, self.unit)}
            yield Text(self.x(self.fret_x(6)), y, words)
        plane = _("fret plane")
        start, end = self._surface()[-1][0], self.saddle_x_mm - BRIDGE_FRONT_MM - 3.0
        roomy = (end - start) * self.per_mm > text_width(plane)
        if roomy and self.rise_mm < BRIDGE_MM - 3.0:
            middle = round((self.x(start) + self.x(end)) / 2, 1)
            yield Text(middle, self.y(0.0) + 12.0, plane, over_lines=True)
        pivot = self._pivot()
        if pivot is not None:
            yield Text(pivot[0] + 8.0, pivot[1] + 4.0, _("pivot"), "start")
        words = _(FIGURES_IN[self.unit])
        yield Text(0.0, bottom + ROW * 2, words % {"factor": self.factor}, "start")
