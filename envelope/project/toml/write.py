"""Values, pairs and tables as the project file writes them: the one writer of TOML.

What it writes, tomllib reads back as the same data. Nothing is judged here.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_WIDE = 60  # characters from which a list is written one element a line


def quoted(text: str) -> str:
    """Text as a TOML string on one line; JSON's escapes are TOML's, but for DEL.

    Examples
    --------
    >>> print(quoted('the "blue" room'))
    "the \\"blue\\" room"
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def key_of(name: str) -> str:
    """A key, in quotes where it needs them."""
    return name if _BARE.fullmatch(name) else quoted(name)


def value_of(value: Any, *, one_line: bool = False) -> str:
    """A value: text, number, list or table in braces; a long list takes a line for each element.

    Examples
    --------
    >>> value_of({"on": "bedroom/walls", "with": ["film", "curtain"]})
    '{ on = "bedroom/walls", with = ["film", "curtain"] }'
    """
    if isinstance(value, Mapping):
        pairs = (f"{key_of(key)} = {value_of(item, one_line=True)}" for key, item in value.items())
        return f"{{ {', '.join(pairs)} }}" if value else "{}"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Sequence):
        items = [value_of(item, one_line=True) for item in value]
        joined = ", ".join(items)
        if one_line or len(joined) < _WIDE:
            return f"[{joined}]"
        return "[\n" + "".join(f"    {item},\n" for item in items) + "]"
    return repr(value)


def pair(key: str, value: Any, comment: str = "") -> str:
    """A key and its value, with a comment beside it."""
    line = f"{key_of(key)} = {value_of(value)}"
    return f"{line}   # {comment_of(comment)}" if comment else line


def comment_of(text: str) -> str:
    """Text fit for a comment, which may hold no control character."""
    return "".join(sign if sign.isprintable() else " " for sign in text).strip()


def table(header: str, entry: Mapping[str, Any], comment: str = "") -> Iterator[str]:
    """Lines of one table under its header, such as "[site]", and a blank line."""
    yield f"{header}   # {comment_of(comment)}" if comment else header
    for key, value in entry.items():
        yield pair(key, value)
    yield ""


def tables(found: Mapping[str, Any], *, keys: Sequence[str]) -> Iterator[str]:
    """Lines of some tables: a mapping is written once, a list one table an entry."""
    for key in keys:
        value = found.get(key, [])
        if isinstance(value, Mapping):
            yield from table(f"[{key}]", value)
        else:
            for entry in value:
                yield from table(f"[[{key}]]", entry)
