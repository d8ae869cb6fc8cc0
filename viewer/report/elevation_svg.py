"""Drawing of one face to scale as SVG: the one that every page uses.

Sizes are millimetres on paper. Openings and what is measured along the foot stand in a chain of
dimensions; outlets, boxes and the bond are numbered, and a table beside the drawing says where
each lies, so that no word covers another.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil

import numpy as np

from envelope import text
from envelope.building.job import Job
from envelope.geometry.plane import Floats
from envelope.text.names import panel_title, shown
from envelope.works.elevations import Cutout, Elevation, Line, Mark

WIDTH_MM = 172.0  # of the text on A4 and on Letter with their margins
HEIGHT_MM = 66.0  # of the tallest face
SCALES = (10, 15, 20, 25, 30, 40, 50, 60, 75, 100, 125, 150, 200, 250, 300, 400, 500)
TEXT_MM = 2.9
_LETTER = 0.60  # width of a letter over its height
_LEFT_MM, _TOP_MM, _RIGHT_MM = 6.0, 5.0, 28.0  # the chain of heights stands at the right
_ROW_MM = 3.9  # from one row of a chain's words to the next
_MARK_MM = 2.3  # radius of a number's ring

_INK, _SOFT, _BOND, _RUN, _COAT = "#1d2b2d", "#5a6668", "#7a2e1f", "#8a4b08", "#dfe8e4"
_WORDS = {
    "socket": "socket",
    "switch": "switch",
    "light": "light",
    "box": "electrical box",
    "bond": "bond point",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkRow:
    """Where a numbered mark lies, in words."""

    number: int
    what: str
    left: str  # from the left end of the face
    right: str
    up: str  # above the floor; along the other axis on a floor or ceiling


def mark_rows(job: Job, face: Elevation) -> tuple[MarkRow, ...]:
    """The table that belongs to a drawing."""

    def length(value_m: float) -> str:
        return text.length(value_m, feet=job.feet)

    return tuple(
        MarkRow(
            number=number,
            what=mark_words(job, mark),
            left=length(float(mark.at[0])),
            right=length(face.width_m - float(mark.at[0])),
            up=length(float(mark.at[1])),
        )
        for number, mark in enumerate(face.marks, 1)
    )


def mark_words(job: Job, mark: Mark) -> str:
    """What a mark stands for, with its name."""
    if mark.kind == "box":
        return _cutout_name(job, mark.id)
    word = _WORDS.get(mark.kind, mark.kind)
    if mark.id in job.building.panel_index:  # a bond proposed at a box
        return f"{word}, at {_cutout_name(job, mark.id)}"
    return word if mark.id == mark.kind else f"{word} {shown(mark.id, limit=32)}"


def _cutout_name(job: Job, panel: str) -> str:
    found = job.building.panel(panel)
    return panel_title(
        panel=found.id,
        space=found.space,
        kind=found.kind,
        aliases=found.aliases,
        title=found.title,
        normal=found.normal,
    )


def common_scale(faces: Iterable[Elevation]) -> int:
    """The one in whose terms all faces of a page are drawn: 1 to so many."""
    found = list(faces)
    wide = max((face.width_m for face in found), default=1.0)
    high = max((face.height_m for face in found), default=1.0)
    least = 1e3 * max(wide / (WIDTH_MM - _LEFT_MM - _RIGHT_MM), high / HEIGHT_MM)
    return next((each for each in SCALES if each >= least), ceil(least))


def drawing_width_mm(face: Elevation, scale: int) -> float:
    """How wide the drawing of a face is on paper. [mm]"""
    return _LEFT_MM + 1e3 * face.width_m / scale + _RIGHT_MM


def elevation_svg(job: Job, face: Elevation, *, title: str, scale: int | None = None) -> str:
    """A face to scale, with openings, rings, seams, strips, runs, marks and dimensions.

    Parameters
    ----------
    job : Job
        Whose measure and names are used.
    face : Elevation
    title : str
        Read aloud in place of the drawing.
    scale : int, optional
        1 to so many; by itself the largest that fits a page.
    """
    scale = common_scale([face]) if scale is None else scale
    drawing = _Drawing(job, face, scale)
    body = "".join(drawing.parts())
    width, height = drawing.size_mm
    return (
        f'<svg class="elevation" role="img" aria-label="{escape(title)}" '
        f'xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.2f} {height:.2f}" '
        f'style="width:{width:.2f}mm;max-width:100%" '
        f'font-family="DejaVu Sans, Verdana, sans-serif" font-size="{TEXT_MM}">{body}</svg>'
    )


class _Drawing:
    def __init__(self, job: Job, face: Elevation, scale: int) -> None:
        self.job, self.face = job, face
        self.wide_mm = drawing_width_mm(face, scale)
        self.scale = 1e3 / scale  # millimetres on paper of a metre
        self.foot_mm = _TOP_MM + self.scale * face.height_m
        self.chains = list(self._chains())

    @property
    def size_mm(self) -> tuple[float, float]:
        return self.wide_mm, self.foot_mm + 4.0 + sum(depth for _, depth in self.chains)

    def at(self, points: Floats) -> Floats:
        """Millimetres (n, 2) on paper of places on the face."""
        flat = np.atleast_2d(points)
        return np.column_stack(
            (_LEFT_MM + self.scale * flat[:, 0], self.foot_mm - self.scale * flat[:, 1])
        )

    def length(self, value_m: float) -> str:
        return text.length(value_m, feet=self.job.feet)

    def parts(self) -> Iterator[str]:
        face = self.face
        coated = _COAT if face.treatments else "none"
        yield self._polygon(face.outline, fill=coated, stroke=_INK, width=0.5)
        for strip in face.strips:
            yield self._polygon(strip, fill=_COAT, stroke=_SOFT, width=0.2)
        for line in face.seams:
            yield self._line(line, colour=_SOFT, width=0.25, dash="4 1.2")
        for cutout in face.openings:
            if cutout.kind != "box":
                yield self._polygon(cutout.outline, fill="#fff", stroke=_INK, width=0.4)
        for ring in face.rings:
            yield self._polygon(ring, fill="#fff", stroke=_INK, width=0.2, dash="0.8 0.6")
        for cutout in face.openings:
            if cutout.kind == "box":
                yield self._polygon(cutout.outline, fill="#c9cfcc", stroke=_INK, width=0.2)
        for line in face.likely_runs:
            yield self._line(line, colour=_RUN, width=0.35, dash="1 1.4")
        for line in face.runs:
            yield self._line(line, colour=_RUN, width=0.6, dash="3 1")
        for cutout in face.openings:
            if cutout.kind != "box":
                yield from self._named(cutout)
        yield from self._numbers()
        for words, _ in self.chains:
            yield words
        yield from self._heights()

    # -- shapes

    def _polygon(
        self, points: Floats, *, fill: str, stroke: str, width: float, dash: str = ""
    ) -> str:
        corners = " ".join(f"{x:.2f},{y:.2f}" for x, y in self.at(points))
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        return (
            f'<polygon points="{corners}" fill="{fill}" stroke="{stroke}" '
            f'stroke-width="{width}"{dashed}/>'
        )

    def _line(self, line: Line, *, colour: str, width: float, dash: str) -> str:
        (x0, y0), (x1, y1) = self.at(np.stack((line.start, line.stop)))
        return (
            f'<path d="M{x0:.2f} {y0:.2f}L{x1:.2f} {y1:.2f}" stroke="{colour}" '
            f'stroke-width="{width}" stroke-dasharray="{dash}" fill="none"/>'
        )

    def _words(
        self, x: float, y: float, words: str, *, anchor: str = "middle", colour: str = _INK
    ) -> str:
        return (
            f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}" fill="{colour}">'
            f"{escape(words)}</text>"
        )

    # -- words in openings, numbers at marks

    def _named(self, cutout: Cutout) -> Iterator[str]:
        (x0, y1), (x1, y0) = self.at(np.stack((cutout.low, cutout.high)))
        wide = x1 - x0
        size = cutout.high - cutout.low
        parts = [
            _cutout_name(self.job, cutout.panel),
            f"{self.length(float(size[0]))} ×{text.SPACE}{self.length(float(size[1]))}",
        ]
        if float(cutout.low[1]) > 0.005 and self.face.kind == "wall":
            parts.append(f"sill {self.length(float(cutout.low[1]))}")
        step = TEXT_MM * 1.25
        fitting: list[str] = []
        for part in parts:  # as many as fit whole, the name at least
            more = _wrapped(part, wide - 1.0)
            if fitting and (not more or step * len(fitting + more) > y1 - y0 - 1.0):
                break
            fitting += more
        top = (y0 + y1) / 2.0 - step * (len(fitting) - 1) / 2.0 + TEXT_MM * 0.35
        for number, line in enumerate(fitting):
            yield self._words((x0 + x1) / 2.0, top + number * step, line)

    def _numbers(self) -> Iterator[str]:
        placed: list[tuple[float, float]] = []
        for number, mark in enumerate(self.face.marks, 1):
            x, y = self.at(mark.at)[0]
            colour = _BOND if mark.kind == "bond" else _INK
            if mark.kind != "box":
                yield f'<circle cx="{x:.2f}" cy="{y:.2f}" r="0.7" fill="{colour}"/>'
            spot = self._clear(x, y, placed)
            placed.append(spot)
            yield (
                f'<path d="M{x:.2f} {y:.2f}L{spot[0]:.2f} {spot[1]:.2f}" stroke="{colour}" '
                'stroke-width="0.2"/>'
                f'<circle cx="{spot[0]:.2f}" cy="{spot[1]:.2f}" r="{_MARK_MM}" fill="#fff" '
                f'stroke="{colour}" stroke-width="0.35"/>'
            )
            yield self._words(spot[0], spot[1] + TEXT_MM * 0.36, str(number), colour=colour)

    def _clear(
        self, x: float, y: float, placed: Sequence[tuple[float, float]]
    ) -> tuple[float, float]:
        """A place for a number near its mark where no other number is."""
        left, right = _LEFT_MM + _MARK_MM, _LEFT_MM + self.scale * self.face.width_m - _MARK_MM
        options = [
            (x + reach * dx, y + reach * dy)
            for reach in (5.0, 9.0, 13.0, 17.0)
            for dx, dy in ((0.0, -1.0), (0.7, -0.7), (-0.7, -0.7), (1.0, 0.0), (-1.0, 0.0))
        ]
        for spot in options:
            apart = all(np.hypot(spot[0] - a, spot[1] - b) > 2.2 * _MARK_MM for a, b in placed)
            apart = apart and not self._on_opening(spot)
            if apart and left <= spot[0] <= right and spot[1] > _TOP_MM + _MARK_MM:
                return spot
        return options[0]

    def _on_opening(self, spot: tuple[float, float]) -> bool:
        """Whether a number there would cover the words in an opening."""
        for each in self.face.openings:
            (x0, y1), (x1, y0) = self.at(np.stack((each.low, each.high)))
            inside = x0 - _MARK_MM < spot[0] < x1 + _MARK_MM
            if each.kind != "box" and inside and y0 - _MARK_MM < spot[1] < y1 + _MARK_MM:
                return True
        return False

    # -- dimensions

    def _chains(self) -> Iterator[tuple[str, float]]:
        """Chains below the face with their depths: openings, seams, then the whole width."""
        openings = [each for each in self.face.openings if each.kind != "box"]
        foot = self.foot_mm + 5.0
        stations = {0.0, self.face.width_m}
        for each in openings:
            stations |= {float(each.low[0]), float(each.high[0])}
        marks = _merged(stations)
        if len(marks) > 2:
            words, rows = self._chain(marks, foot)
            depth = 3.0 + _ROW_MM * rows
            yield words, depth
            foot += depth
        upright = {float(line.start[0]) for line in self.face.seams if not _level(line)}
        if upright:
            words, rows = self._chain(_merged({0.0, self.face.width_m} | upright), foot)
            depth = 3.0 + _ROW_MM * rows
            yield words, depth
            foot += depth
        words, rows = self._chain([0.0, self.face.width_m], foot)
        yield words, 3.0 + _ROW_MM * rows

    def _chain(self, stations: Sequence[float], y: float) -> tuple[str, int]:
        """A row of dimensions; words that do not fit their piece go to a row below."""
        places = [_LEFT_MM + self.scale * each for each in stations]
        parts = [
            f'<path d="M{places[0]:.2f} {y:.2f}H{places[-1]:.2f}" stroke="{_SOFT}" '
            'stroke-width="0.2"/>'
        ]
        parts += [
            f'<path d="M{x - 0.7:.2f} {y + 0.7:.2f}L{x + 0.7:.2f} {y - 0.7:.2f}" '
            f'stroke="{_INK}" stroke-width="0.35"/>'
            for x in places
        ]
        ends: list[float] = []  # of the words in each row
        pairs = zip(stations, stations[1:], places, places[1:], strict=False)
        for low, high, x0, x1 in pairs:
            words = self.length(high - low)
            half = _wide(words) / 2.0
            middle = max((x0 + x1) / 2.0, half + 0.5)
            row = next((k for k, end in enumerate(ends) if middle - half > end), len(ends))
            if row == len(ends):
                ends.append(0.0)
            ends[row] = middle + half + 1.0
            parts.append(self._words(middle, y + 3.4 + row * _ROW_MM, words, colour=_INK))
        return "".join(parts), len(ends)

    def _heights(self) -> Iterator[str]:
        """Heights of the right and the left end, of the top, and of seams that lie level."""
        face = self.face
        x = _LEFT_MM + self.scale * face.width_m + 4.0
        right, left = (self._height_at(end) for end in (face.width_m, 0.0))
        y0, y1 = self.foot_mm, self.foot_mm - self.scale * right
        yield (
            f'<path d="M{x:.2f} {y0:.2f}V{y1:.2f}M{x - 0.7:.2f} {y0 + 0.7:.2f}l1.4 -1.4'
            f'M{x - 0.7:.2f} {y1 + 0.7:.2f}l1.4 -1.4" stroke="{_SOFT}" stroke-width="0.25" '
            'fill="none"/>'
        )
        yield self._words(
            x + 1.4, (y0 + y1) / 2.0 + TEXT_MM * 0.35, self.length(right), anchor="start"
        )
        if abs(left - right) > 0.01:
            turn = self.foot_mm - self.scale * left / 2.0
            yield (
                f'<g transform="rotate(-90 {_LEFT_MM - 1.5:.2f} {turn:.2f})">'
                f"{self._words(_LEFT_MM - 1.5, turn, self.length(left))}</g>"
            )
        if face.height_m - max(right, left) > 0.01:
            top = self.foot_mm - self.scale * face.height_m
            yield self._words(
                x + 1.4, top + TEXT_MM, f"top {self.length(face.height_m)}", anchor="start"
            )
        for line in face.seams:
            if _level(line):
                end = max(float(line.start[0]), float(line.stop[0]))
                (x, y), *_ = self.at(np.array([end, float(line.start[1])]))
                words = self.length(float(line.start[1]))
                yield self._words(x - 1.0, y - 0.8, words, anchor="end", colour=_SOFT)

    def _height_at(self, x_m: float) -> float:
        """How high the outline stands at one of its ends."""
        ends = [float(y) for x, y in self.face.outline if abs(float(x) - x_m) < 1e-6]
        return max(ends) if ends else self.face.height_m


def _level(line: Line) -> bool:
    return abs(float(line.start[1] - line.stop[1])) < abs(float(line.start[0] - line.stop[0]))


def _merged(stations: Iterable[float]) -> list[float]:
    """Stations in order; those nearer than 5 mm are one."""
    found: list[float] = []
    for each in sorted(stations):
        if not found or each - found[-1] > 5e-3:
            found.append(each)
    return found


def _wide(words: str) -> float:
    return _LETTER * TEXT_MM * len(words)


def _wrapped(words: str, room_mm: float) -> list[str]:
    """Words in lines that fit; none where one of them does not fit alone."""
    lines: list[str] = []
    for word in words.replace(text.SPACE, "\u2007").split(" "):
        if lines and _wide(f"{lines[-1]} {word}") <= room_mm:
            lines[-1] = f"{lines[-1]} {word}"
        elif _wide(word) <= room_mm:
            lines.append(word)
        else:
            return []
    return [line.replace("\u2007", text.SPACE) for line in lines]
