"""Words, scales and labels drawn over a rendered picture, with Pillow."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from envelope.geometry.plane import Floats
from viewer.pictures.labels import Box, Placed
from viewer.scene.colours import AMBER, Theme, cividis, rgb
from viewer.scene.records import Scale

Font: TypeAlias = ImageFont.FreeTypeFont
Picture: TypeAlias = Image.Image
Colour: TypeAlias = tuple[int, int, int, int]


@cache
def font(*, size: float, bold: bool = False) -> Font:
    """The typeface of pictures."""
    return ImageFont.truetype(typeface("DejaVuSans-Bold" if bold else "DejaVuSans"), size=size)


def typeface(name: str) -> str:
    """Path of a typeface that matplotlib brings, so that it is there everywhere.

    Its files are found without the library itself, which takes longer to load than a picture to
    be written on.
    """
    found = find_spec("matplotlib")
    assert found is not None  # asked for before anything is drawn
    assert found.origin is not None
    return str(Path(found.origin).with_name("mpl-data") / "fonts" / "ttf" / f"{name}.ttf")


def colour_of(colour: str, opacity: float = 1.0) -> Colour:
    """Colour for Pillow."""
    red, green, blue = (round(255 * part) for part in rgb(colour))
    return red, green, blue, round(255 * opacity)


class Sheet:
    """A transparent sheet over a picture; all measures are in pixels of the finished picture."""

    def __init__(self, *, size: tuple[int, int], scale: int, theme: Theme, unit: float) -> None:
        self.size = size
        self.scale = scale
        self.theme = theme
        self.unit = unit  # 1 at a height of 1100 pixels: sizes of type and margins follow it
        self.image = Image.new("RGBA", (size[0] * scale, size[1] * scale), (0, 0, 0, 0))
        self._draw = ImageDraw.Draw(self.image)

    def _px(self, values: Sequence[float]) -> list[float]:
        return [value * self.scale for value in values]

    def _font(self, size: float, bold: bool) -> Font:
        return font(size=max(round(size * self.unit * self.scale * 2) / 2, 5.0), bold=bold)

    def measure(self, text: str, *, size: float, bold: bool = False) -> tuple[float, float]:
        """Width and line height of a text."""
        used = self._font(size, bold)
        ascent, descent = used.getmetrics()
        return used.getlength(text) / self.scale, (ascent + descent) / self.scale

    def text(
        self,
        at: tuple[float, float],
        text: str,
        *,
        size: float,
        bold: bool = False,
        colour: str | None = None,
        anchor: str = "la",
        halo: str = "",
    ) -> None:
        """One line of text, perhaps with a rim that sets it off."""
        self._draw.text(
            (at[0] * self.scale, at[1] * self.scale),
            text,
            font=self._font(size, bold),
            fill=colour_of(colour or self.theme.ink),
            anchor=anchor,
            stroke_width=round(2.5 * self.unit * self.scale) if halo else 0,
            stroke_fill=colour_of(halo) if halo else None,
        )

    def line(self, points: Sequence[tuple[float, float]], *, width: float, colour: str) -> None:
        """A thin line."""
        self._draw.line(
            [(x * self.scale, y * self.scale) for x, y in points],
            fill=colour_of(colour),
            width=max(1, round(width * self.unit * self.scale)),
            joint="curve",
        )

    def box(
        self, box: Box, *, fill: str, opacity: float = 1.0, radius: float = 0.0, edge: str = ""
    ) -> None:
        """A filled box with round corners."""
        self._draw.rounded_rectangle(
            self._px(box),
            radius=radius * self.unit * self.scale,
            fill=colour_of(fill, opacity),
            outline=colour_of(edge) if edge else None,
            width=max(1, round(self.unit * self.scale)),
        )

    def polygon(self, points: Sequence[tuple[float, float]], *, fill: str) -> None:
        """A filled polygon."""
        self._draw.polygon(
            [(x * self.scale, y * self.scale) for x, y in points], fill=colour_of(fill)
        )

    def dot(self, at: tuple[float, float], *, radius: float, fill: str) -> None:
        """A filled circle."""
        reach = radius * self.unit
        x, y = at
        self._draw.ellipse(
            self._px((x - reach, y - reach, x + reach, y + reach)), fill=colour_of(fill)
        )

    def strip(self, box: Box, colours: Floats) -> None:
        """An upright strip of colours (n, 3), the first at the bottom."""
        left, top, right, bottom = (round(value * self.scale) for value in box)
        rows = np.rint(colours[::-1] * 255).astype(np.uint8)[:, np.newaxis, :]
        strip = Image.fromarray(rows, "RGB").resize(
            (max(right - left, 1), max(bottom - top, 1)), Image.Resampling.BILINEAR
        )
        self.image.paste(strip, (left, top))
        self._draw.rectangle(
            (left, top, right, bottom),
            outline=colour_of(self.theme.muted),
            width=max(1, round(self.unit * self.scale)),
        )

    # -- parts of a picture ------------------------------------------------------------------

    def headline(self, parts: Sequence[str], *, at: tuple[float, float], width: float) -> None:
        """The plan in bold and its numbers, on one line that fits."""
        size = 26.0
        space = 30.0
        while size > 9.0 and self._headline_width(parts, size, space) > width:
            size *= 0.95
            space *= 0.95
        x, y = at
        for index, part in enumerate(parts):
            bold = index == 0
            self.text((x, y), part, size=size, bold=bold)
            x += self.measure(part, size=size, bold=bold)[0] + space * self.unit

    def _headline_width(self, parts: Sequence[str], size: float, space: float) -> float:
        widths = [self.measure(p, size=size, bold=k == 0)[0] for k, p in enumerate(parts)]
        return sum(widths) + space * self.unit * (len(parts) - 1)

    def scale_bar(
        self, *, box: Box, scale: Scale, title: Sequence[str], bright_low: bool = False
    ) -> None:
        """The colour scale with its numbers; values below its end share the end's colour."""
        places = np.linspace(0.0, 1.0, 128)
        self.strip(box, cividis(1.0 - places if bright_low else places))
        left, top, right, bottom = box
        y = top - 12 * self.unit - 20 * self.unit * len(title)
        for line in title:
            self.text((left, y), line, size=15, colour=self.theme.muted)
            y += 20 * self.unit
        span = scale.high_db - scale.low_db
        step = 5.0 if span <= 25.0 else 10.0
        value = scale.low_db
        while value <= scale.high_db + 1e-9:
            place = bottom - (bottom - top) * (value - scale.low_db) / span
            self.line(
                [(right, place), (right + 6 * self.unit, place)], width=1.2, colour=self.theme.muted
            )
            text = f"{value:.0f}".replace("-", "−")
            if value == scale.low_db and not bright_low:
                text = "≤ " + text
            if value + 1e-9 >= scale.high_db and bright_low:
                text = "≥ " + text
            self.text((right + 11 * self.unit, place), text, size=15, anchor="lm")
            value += step

    def key(self, *, at: tuple[float, float], entries: Sequence[tuple[str, str, str]]) -> None:
        """Small boxes with words: (fill, edge, words); an empty fill leaves the box open.

        With no edge it is a diamond and no box, "hollow" an open diamond, "dashed" a dashed line.
        """
        x, y = at
        side = 16 * self.unit
        for fill, edge, words in entries:
            if edge == "dashed":
                for part in (0.0, 0.38, 0.76):
                    start, level = x + part * side, y + side / 2
                    ends = [(start, level), (start + 0.24 * side, level)]
                    self.line(ends, width=2.0, colour=self.theme.ink)
            elif edge == "hollow":
                m, h = x + side / 2, y + side / 2
                tips = [(m, y), (x + 0.8 * side, h), (m, y + side), (x + 0.2 * side, h), (m, y)]
                self.line(tips, width=1.6, colour=self.theme.source)
            elif not edge:
                m, h = x + side / 2, y + side / 2
                tips = [(m, y), (x + 0.8 * side, h), (m, y + side), (x + 0.2 * side, h)]
                self.polygon(tips, fill=fill)
            elif fill:
                self.box((x, y, x + side, y + side), fill=fill, edge=edge)
            else:
                wide = 3.0
                self.line(
                    [(x, y), (x + side, y), (x + side, y + side), (x, y + side), (x, y)],
                    width=wide,
                    colour=edge,
                )
            for k, line in enumerate(words.split("\n")):
                self.text(
                    (x + side + 9 * self.unit, y + side / 2 + 18 * k * self.unit),
                    line,
                    size=13.5,
                    colour=self.theme.muted,
                    anchor="lm",
                )
            y += (26 + 18 * words.count("\n")) * self.unit

    def length_bar(
        self, *, at: tuple[float, float], metres_per_pixel: float, feet: bool = False
    ) -> None:
        """A bar of one or more metres or feet; lengths across are true in a parallel view."""
        count, each_m = 1, 0.3048 if feet else 1.0
        while count * each_m / metres_per_pixel < 70 * self.unit:
            count *= 2
        x, y = at
        long = count * each_m / metres_per_pixel
        rise = 5 * self.unit
        self.line([(x, y), (x + long, y)], width=2.2, colour=self.theme.ink)
        for end in (x, x + long):
            self.line([(end, y - rise), (end, y + rise)], width=2.2, colour=self.theme.ink)
        words = f"{count} {'ft' if feet else 'm'} across"
        self.text((x + long + 10 * self.unit, y), words, size=14, anchor="lm")

    def label_size(self, text: str) -> tuple[float, float]:
        """Width and height of a label with its frame."""
        width, height = self.measure(text, size=15.5, bold=True)
        return width + 18 * self.unit, height + 9 * self.unit

    def label(self, placed: Placed, *, gap: bool, cut: bool = False) -> None:
        """A label with a line to what it speaks of; a gap's has an amber edge.

        The line ends in a dot on a face that shows, in a ring on the edge of one that is cut away.
        """
        left, top, right, bottom = placed.box
        if not placed.holds_anchor:
            self.line([placed.leader, placed.wanted.anchor], width=3.4, colour=self.theme.label)
            self.line([placed.leader, placed.wanted.anchor], width=1.3, colour=self.theme.ink)
            self.dot(placed.wanted.anchor, radius=4.6, fill=self.theme.label)
            self.dot(placed.wanted.anchor, radius=3.2 if cut else 3.0, fill=self.theme.ink)
            if cut:
                self.dot(placed.wanted.anchor, radius=1.7, fill=self.theme.label)
        self.box(placed.box, fill=self.theme.label, opacity=0.93, radius=5)
        if gap:
            bar = (left, top, left + 6 * self.unit, bottom)
            self.box(bar, fill=AMBER, radius=2.5)
        self.text(
            ((left + right) / 2 + (3 * self.unit if gap else 0), (top + bottom) / 2),
            placed.wanted.text,
            size=15.5,
            bold=True,
            anchor="mm",
        )

    def onto(self, picture: Picture) -> Picture:
        """A picture with this sheet on top."""
        base = picture.convert("RGBA")
        base.alpha_composite(self.image.reduce(self.scale))
        return base.convert("RGB")


def picture_of(pixels: NDArray[np.uint8]) -> Picture:
    """Pixels (height, width, 3) as a picture."""
    return Image.fromarray(pixels)


def ground(*, size: tuple[int, int], theme: Theme) -> Picture:
    """The paper that a picture stands on: lighter or darker towards the top."""
    below, above = (
        np.array(colour_of(c)[:3], dtype=np.float64) for c in (theme.paper, theme.paper_top)
    )
    place = np.linspace(0.0, 1.0, size[1])[:, np.newaxis, np.newaxis]
    rows = above * (1 - place) + below * place
    return Image.fromarray(
        np.rint(np.broadcast_to(rows, (size[1], size[0], 3))).astype(np.uint8), "RGB"
    )
