"""The line on which every key of a TOML text stands.

tomllib reads TOML but keeps no positions, so this walks the text beside it:

    [[space]]                       ("space", 0)            → 1
    id = "bedroom"                  ("space", 0, "id")      → 2
    walls = [{ on = "x" },          ("space", 0, "walls", 0, "on") → 3

`Lines` also has the stretch of text that every value takes, and the blocks under headers, so that
an edit can replace a value and leave every other character where it is.

It accepts more than TOML does and judges nothing: tomllib says what is wrong with a text. Only
nesting is judged here, before tomllib is asked, because a megabyte of brackets or dots costs
tomllib its stack or minutes of time.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from dataclasses import dataclass, field

Path = tuple[str | int, ...]
Span = tuple[int, int]  # first character, and the one after the last

DEEPEST_NESTING = 32
LONGEST_KEY = 8  # parts of a dotted key
_RECORDED_ELEMENTS = 10_000  # of one array

_BLANKS = re.compile(r"[ \t]*+")
_BETWEEN = re.compile(r"(?:[ \t\r\n]++|#[^\n]*+)*+")
_KEY_PART = re.compile(r'"(?:[^"\\\n]|\\.)*+"|\'[^\'\n]*+\'|[^\s.=\[\]{},#"\']++')
_STRINGS = (
    ('"""', re.compile(r'"""(?:[^"\\]|\\.|"{1,2}(?!"))*+"{3,5}', re.DOTALL)),
    ("'''", re.compile(r"'''(?:[^']|'{1,2}(?!'))*+'{3,5}")),
    ('"', re.compile(r'"(?:[^"\\\n]|\\.)*+"')),
    ("'", re.compile(r"'[^'\n]*+'")),
)
_SCALAR = re.compile(r"[^,\]}\n#]*+")


@dataclass(slots=True, kw_only=True)
class Block:
    """A header and the pairs under it, up to the next header; the first block has no header."""

    path: Path
    header: Span
    pairs: list[Span] = field(default_factory=list)

    @property
    def end(self) -> int:
        """After the last character that is no comment."""
        return self.pairs[-1][1] if self.pairs else self.header[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Where the keys of a text stand."""

    by_path: dict[Path, int]
    too_deep: int | None = None  # line on which nesting passes what is read
    values: dict[Path, Span] = field(default_factory=dict)
    blocks: list[Block] = field(default_factory=list)

    def line(self, path: Path) -> int | None:
        """Line of a key, or of the nearest thing around it that the text states."""
        for length in range(len(path), 0, -1):
            found = self.by_path.get(path[:length])
            if found is not None:
                return found
        return None


class _StopError(Exception):
    """The text is not TOML from here on."""


class _TooDeepError(Exception):
    """Nesting passes what is read."""


def scan(text: str) -> Lines:
    """Find the line of every key, array element and table header of a TOML text.

    Examples
    --------
    >>> lines = scan('format = 1\\n[[space]]\\nid = "a"\\n[[space]]\\nid = "b"\\n')
    >>> lines.line(("space", 1, "id")), lines.line(("space", 0, "height"))
    (5, 2)
    """
    scanner = _Scanner(text)
    try:
        scanner.document()
    except _StopError:
        pass
    except _TooDeepError:
        return Lines(by_path=scanner.found, too_deep=scanner.line_here())
    return Lines(by_path=scanner.found, values=scanner.values, blocks=scanner.blocks)


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.position = 0
        self.found: dict[Path, int] = {}
        self.values: dict[Path, Span] = {}
        self.blocks = [Block(path=(), header=(0, 0))]
        self._ends = [match.start() for match in re.finditer("\n", text)]
        self._tables: dict[Path, int] = {}  # array tables: how many so far

    def line_here(self) -> int:
        return bisect_left(self._ends, self.position) + 1

    def document(self) -> None:
        table: Path = ()
        while True:
            self._skip(_BETWEEN)
            if self.position >= len(self.text):
                return
            if self.text[self.position] == "[":
                table = self._header()
            else:
                start = self.position
                self._pair(table, depth=0)
                self.blocks[-1].pairs.append((start, self._end()))

    def _header(self) -> Path:
        line, start = self.line_here(), self.position
        double = self.text.startswith("[[", self.position)
        self.position += 2 if double else 1
        keys = self._key()
        self._expect("]]" if double else "]")
        path: Path = ()
        for key in keys[:-1]:
            path = self._entered((*path, key))
        path = (*path, keys[-1])
        if double:
            count = self._tables.get(path, 0)
            self._tables[path] = count + 1
            self.found.setdefault(path, line)
            path = (*path, count)
        else:
            path = self._entered(path)
        self.found.setdefault(path, line)
        self.blocks.append(Block(path=path, header=(start, self.position)))
        return path

    def _entered(self, path: Path) -> Path:
        """Step into the latest table of an array of tables."""
        count = self._tables.get(path)
        return path if count is None else (*path, count - 1)

    def _pair(self, table: Path, *, depth: int) -> None:
        line = self.line_here()
        path = table
        for key in self._key():
            path = (*path, key)
            self.found.setdefault(path, line)
        self._expect("=")
        self._skip(_BLANKS)
        self._value(path, depth=depth)

    def _key(self) -> list[str]:
        """Read a dotted key."""
        parts: list[str] = []
        while True:
            self._skip(_BLANKS)
            match = _KEY_PART.match(self.text, self.position)
            if match is None:
                raise _StopError
            self.position = match.end()
            parts.append(_unquoted(match[0]))
            if len(parts) > LONGEST_KEY:
                raise _TooDeepError
            self._skip(_BLANKS)
            if not self.text.startswith(".", self.position):
                return parts
            self.position += 1

    def _value(self, path: Path, *, depth: int) -> None:
        if depth > DEEPEST_NESTING:
            raise _TooDeepError
        start = self.position
        if self.text.startswith("[", self.position):
            self._array(path, depth=depth + 1)
        elif self.text.startswith("{", self.position):
            self._inline_table(path, depth=depth + 1)
        else:
            self._plain()
        last = path[-1]
        if not isinstance(last, int) or last < _RECORDED_ELEMENTS:
            self.values.setdefault(path, (start, self._end()))

    def _end(self) -> int:
        """Where what was just read ends; a bare value is read with the blanks after it."""
        position = self.position
        while self.text[position - 1] in " \t\r":
            position -= 1
        return position

    def _plain(self) -> None:
        pattern = _SCALAR
        for mark, string in _STRINGS:
            if self.text.startswith(mark, self.position):
                pattern = string
                break
        match = pattern.match(self.text, self.position)
        if match is None:
            raise _StopError
        self.position = match.end()

    def _array(self, path: Path, *, depth: int) -> None:
        self.position += 1
        index = 0
        while not self._closed("]"):
            if index < _RECORDED_ELEMENTS:
                self.found.setdefault((*path, index), self.line_here())
            start = self.position
            self._value((*path, index), depth=depth)
            index += 1
            self._separator("]", start=start)

    def _inline_table(self, path: Path, *, depth: int) -> None:
        self.position += 1
        while not self._closed("}"):
            start = self.position
            self._pair(path, depth=depth)
            self._separator("}", start=start)

    def _closed(self, mark: str) -> bool:
        self._skip(_BETWEEN)
        if self.text.startswith(mark, self.position):
            self.position += 1
            return True
        return False

    def _separator(self, closing: str, *, start: int) -> None:
        self._skip(_BETWEEN)
        if self.text.startswith(",", self.position):
            self.position += 1
        elif not self.text.startswith(closing, self.position) or self.position == start:
            raise _StopError

    def _expect(self, mark: str) -> None:
        self._skip(_BLANKS)
        if not self.text.startswith(mark, self.position):
            raise _StopError
        self.position += len(mark)

    def _skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.position)
        if match is not None:
            self.position = match.end()


_ESCAPES = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}
_ESCAPE = re.compile(r"\\(?:u([0-9A-Fa-f]{4})|U([0-9A-Fa-f]{8})|(.))")


def _unquoted(part: str) -> str:
    """A key's part without its quotes and escapes."""
    if part[:1] == "'":
        return part[1:-1]
    if part[:1] != '"':
        return part
    return _ESCAPE.sub(_unescaped, part[1:-1])


def _unescaped(match: re.Match[str]) -> str:
    code = match[1] or match[2]
    if code is None:
        return _ESCAPES.get(match[3], match[3])
    number = int(code, 16)
    return chr(number) if number <= 0x10FFFF else match[0]
