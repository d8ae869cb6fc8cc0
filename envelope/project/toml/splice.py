"""Pieces put into a TOML text, and taken out of it, with every other character left where it is.

Every function takes the text and what `lines.scan` found in it. Tables of one kind need not stand
together, and comments stay beside what they were written beside.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from envelope.project.toml.scan import Block, Lines, Path, Span
from envelope.project.toml.write import value_of

_INDENT = "    "
_BLANKS = re.compile(r"[ \t]*")
# Between two elements of an array stand blanks, line ends, comments and one comma.
_COMMA = re.compile(r"(?:[ \t\r\n]++|#[^\n]*+)*+,")


def with_value(text: str, span: Span, value: str | Sequence[str]) -> str:
    """The text with another value, in the kind of quotes that the one before had."""
    new = value_of(value, one_line=True)
    before = text[slice(*span)]
    literal = before.startswith("'") and not before.startswith("'''")
    if literal and isinstance(value, str) and value.isprintable() and "'" not in value:
        new = f"'{value}'"
    return text[: span[0]] + new + text[span[1] :]


def block_of(found: Lines, path: Path) -> Block | None:
    """The block under the header that opens a table; None where it is written in braces."""
    return next((block for block in found.blocks if block.path == path), None)


def last_block(found: Lines, path: Path) -> Block | None:
    """The last block of a table, or of a table within it, in the order of the text."""
    size = len(path)
    return next((each for each in reversed(found.blocks) if each.path[:size] == path), None)


def with_lines(text: str, position: int, lines: Iterable[str]) -> str:
    """The text with lines after the line on which a position is."""
    at = _line_end(text, position)
    newline = _newline(text, position)
    added = newline.join(lines)
    if at > 0 and text[at - 1] != "\n":  # the last line, which has no end: neither has the new one
        return text[:at] + newline + added + text[at:]
    return text[:at] + added + newline + text[at:]


def with_element(text: str, found: Lines, path: Path, count: int, element: str) -> str:
    """The text with one more element at the end of an array of `count` elements."""
    start, end = found.values[path]
    closing = end - 1
    newline = _newline(text, start)
    if count == 0:
        if "\n" not in text[start:end]:
            return text[: start + 1] + element + text[start + 1 :]
        margin = _margin(text, closing)
        before = text[:closing].rstrip(" \t")
        gap = "" if before.endswith("\n") else newline
        return f"{before}{gap}{margin}{_INDENT}{element},{newline}{margin}{text[closing:]}"
    first, last = found.values[(*path, count - 1)]
    comma = _COMMA.match(text, last, closing)
    after = last if comma is None else comma.end()
    if "\n" not in text[after:closing]:
        if comma is None:
            return f"{text[:last]}, {element}{text[last:]}"
        return f"{text[:after]} {element}{text[after:]}"
    at = _line_end(text, after)
    joined = text[:at] if comma is not None else f"{text[:last]},{text[last:at]}"
    trailing = "" if comma is None else ","
    return f"{joined}{_margin(text, first)}{element}{trailing}{newline}{text[at:]}"


def with_pair(text: str, found: Lines, path: Path, key: str, value: str) -> str:
    """The text with one more pair in a table; lines of `value` are joined by line feeds."""
    block = block_of(found, path)
    if block is not None:
        return with_lines(text, block.end, f"{key} = {value}".split("\n"))
    end = found.values[path][1] - 1
    body = text[:end].rstrip(" \t")
    blank = text[len(body) : end] or " "
    comma = "" if body.endswith("{") else ","
    return f"{body}{comma} {key} = {''.join(value.split(chr(10)))}{blank}{text[end:]}"


def without_pair(text: str, found: Lines, path: Path) -> str:
    """The text without one pair under a header; a comment beside it stays."""
    start = found.values[path][0]
    for block in found.blocks:
        for pair in block.pairs:
            if pair[0] < start < pair[1]:
                return without_spans(text, [pair])
    return text


def without_block(text: str, block: Block) -> str:
    """The text without a header, what stands under it, and the blank line over it."""
    start = block.header[0]
    above = text[:start].rstrip(" \t")
    bare = re.search(r"(?:\A|\n)([ \t]*\r?\n)\Z", above)
    if bare is not None:
        text = text[: bare.start(1)] + text[bare.end(1) :]
        moved = bare.end(1) - bare.start(1)
    else:
        moved = 0
    spans = [block.header, *block.pairs]
    return without_spans(text, [(begin - moved, end - moved) for begin, end in spans])


def without_spans(text: str, spans: Sequence[Span]) -> str:
    """The text without some stretches, and without the lines that are then blank."""
    open_ended = not text.endswith("\n")
    for start, end in sorted(spans, reverse=True):
        line = text.rfind("\n", 0, start) + 1
        stop = _line_end(text, end)
        if text[line:start].strip() or text[end:stop].strip():
            text = text[:start] + text[end:].removeprefix(_blanks(text, end))
        else:
            text = text[:line] + text[stop:]
    if open_ended and text.endswith("\n"):
        text = text[:-1].removesuffix("\r")
    return text


def _blanks(text: str, position: int) -> str:
    match = _BLANKS.match(text, position)
    return "" if match is None else match[0]


def _line_end(text: str, position: int) -> int:
    """Where the line after the one that a position is on begins."""
    found = text.find("\n", position)
    return len(text) if found < 0 else found + 1


def _margin(text: str, position: int) -> str:
    """Blanks at the beginning of the line that a position is on."""
    return _blanks(text, text.rfind("\n", 0, position) + 1)


def _newline(text: str, position: int) -> str:
    """Line end as the text has it near a position."""
    found = text.find("\n", position)
    if found < 0:
        found = text.rfind("\n", 0, position)
    return "\r\n" if found > 0 and text[found - 1] == "\r" else "\n"
