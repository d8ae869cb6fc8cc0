"""Tables that fit the terminal: a number and a word are never broken, whatever its width.

A table that is too wide first breaks its longest texts between words, then it is set as several
tables one below the other, each of which begins with the columns that say what a row is about.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment
from rich.text import Text

from envelope.text import SPACE

USUAL, NARROWEST = 132, 60  # columns of a terminal: where none says how wide it is; at least
GAP = 2  # between columns
WORDY = 24  # columns from which on a text may be broken between words


_HELD = "\ue000"  # a private character of one column: no line is broken at it


class _Console(Console):
    """A console that breaks no number off its unit, and lets a reader who has gone be known."""

    def on_broken_pipe(self) -> None:
        """Leave a reader who has gone to whoever runs the command."""
        raise BrokenPipeError

    def render_str(self, text: str, **styles: Any) -> Text:
        """Text of markup whose held spaces stay whole: the library breaks lines at them."""
        return super().render_str(text.replace(SPACE, _HELD), **styles)

    def render(
        self, renderable: RenderableType, options: ConsoleOptions | None = None
    ) -> Iterable[Segment]:
        """What is printed, with plain spaces, so that it can be searched and copied."""
        for text, style, control in super().render(renderable, options):
            yield Segment(text.replace(_HELD, " "), style, control)


def open_console() -> Console:
    """A console on the standard output, as wide as the terminal."""
    width = shutil.get_terminal_size((USUAL, 24)).columns
    return _Console(width=max(width, NARROWEST), highlight=False, emoji=False, file=sys.stdout)


@dataclass(frozen=True, kw_only=True)
class _Column:
    heading: Text
    right: bool
    cells: tuple[Text, ...]
    key: bool  # says what a row is about: begins every block, and is not broken

    @cached_property
    def width(self) -> int:
        """What the column takes where only its heading is broken, between words."""
        return max(_longest_word(self.heading), *(cell.cell_len for cell in self.cells), 1)

    @cached_property
    def least(self) -> int:
        """What it takes where its texts are broken between words too."""
        if self.key or self.width <= WORDY:
            return self.width
        words = max(map(_longest_word, self.cells), default=0)
        return min(self.width, max(WORDY, words, _longest_word(self.heading)))

    @cached_property
    def most(self) -> int:
        """What it takes where nothing is broken, its heading neither."""
        return max(self.width, self.heading.cell_len)


def _longest_word(text: Text) -> int:
    # What no line is broken at, such as the space before a unit, holds a word together.
    return max(map(cell_len, text.plain.split(" ")))


@dataclass(slots=True, kw_only=True, eq=False)
class PlainTable:
    """Rows of markup below headings; a heading that begins with ">" sets its column right."""

    headings: tuple[str, ...]
    title: str | None
    keys: int
    rows: list[tuple[str, ...]] = field(default_factory=list)

    def add_row(self, *cells: str) -> None:
        """Add one row; what is missing at its end is empty."""
        self.rows.append(cells + ("",) * (len(self.headings) - len(cells)))

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[Text]:
        """Lines, none wider than the console."""
        if self.title is not None:
            title = _held(self.title, style="bold")
            yield from map(_released, title.wrap(console, options.max_width))
        for index, (columns, widths) in enumerate(_blocks(self._columns(), options.max_width)):
            if index:
                yield Text("")
            yield from _lines([column.heading for column in columns], columns, widths, console)
            for row in range(len(self.rows)):
                yield from _lines([each.cells[row] for each in columns], columns, widths, console)

    def _columns(self) -> list[_Column]:
        return [
            _Column(
                heading=Text.from_markup(
                    heading.removeprefix(">").replace(SPACE, _HELD), style="dim"
                ),
                right=heading.startswith(">"),
                cells=tuple(
                    Text.from_markup(row[index].replace(SPACE, _HELD)) for row in self.rows
                ),
                key=index < self.keys,
            )
            for index, heading in enumerate(self.headings)
        ]


def plain_table(*headings: str, title: str | None = None, keys: int = 1) -> PlainTable:
    """A plain table whose first `keys` columns say what a row is about."""
    return PlainTable(headings=headings, title=title, keys=keys)


def _blocks(
    columns: Sequence[_Column], room: int
) -> Iterator[tuple[Sequence[_Column], Sequence[int]]]:
    """Tables one below the other that hold all columns, with the width of each column."""
    keys = [column for column in columns if column.key]
    rest = [column for column in columns if not column.key]
    while True:
        taken = list(keys)
        while rest and (len(taken) == len(keys) or _needs([*taken, rest[0]]) <= room):
            taken.append(rest.pop(0))
        yield taken, _widths(taken, room)
        if not rest:
            return


def _needs(columns: Sequence[_Column]) -> int:
    return sum(column.least for column in columns) + GAP * (len(columns) - 1)


def _widths(columns: Sequence[_Column], room: int) -> list[int]:
    """The room shared out: to each what it needs, the rest to texts, then to headings."""
    widths = [column.least for column in columns]
    left = room - sum(widths) - GAP * (len(columns) - 1)
    for index, column in enumerate(columns):
        more = min(max(left, 0), column.width - widths[index])
        widths[index] += more
        left -= more
    for index, column in enumerate(columns):
        if 0 < column.most - widths[index] <= left:
            left -= column.most - widths[index]
            widths[index] = column.most
    while left < 0 and max(widths) > WORDY:  # one name is wider than all the room: it is folded
        widest = widths.index(max(widths))
        less = min(-left, widths[widest] - WORDY)
        widths[widest] -= less
        left += less
    return widths


def _lines(
    cells: Sequence[Text], columns: Sequence[_Column], widths: Sequence[int], console: Console
) -> Iterator[Text]:
    """One row, on as many lines as its longest cell needs; headings stand at the bottom."""
    wrapped = [_wrapped(cell, width, console) for cell, width in zip(cells, widths, strict=True)]
    height = max(len(lines) for lines in wrapped)
    heading = all(cell is column.heading for cell, column in zip(cells, columns, strict=True))
    for number in range(height):
        line = Text()
        column_starts = 0
        for lines, column, width in zip(wrapped, columns, widths, strict=True):
            own = number - (height - len(lines) if heading else 0)
            if 0 <= own < len(lines):
                part = lines[own]
                left = width - part.cell_len if column.right else 0
                line.append(" " * (column_starts + left - line.cell_len))
                line.append_text(part)
            column_starts += width + GAP
        line.rstrip()
        yield _released(line)


def _wrapped(cell: Text, width: int, console: Console) -> Sequence[Text]:
    """A cell's lines; the library takes ten times as long to find that there is one."""
    if "\n" not in cell.plain and "\t" not in cell.plain and cell.cell_len <= width:
        lines: Sequence[Text] = [cell]
    else:
        lines = list(cell.wrap(console, width))
    for line in lines:
        line.rstrip()
    return lines


def _held(markup: str, *, style: str = "") -> Text:
    """Text of markup that is broken at plain spaces only."""
    return Text.from_markup(markup.replace(SPACE, _HELD), style=style)


def _released(line: Text) -> Text:
    """A line that is not broken any more, with plain spaces."""
    line.plain = line.plain.replace(_HELD, " ")
    return line
