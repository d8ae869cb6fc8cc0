"""The practice's own name, address and terms, from a file that all jobs share."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from envelope.errors import EnvelopeError

_KEYS = ("name", "address", "contact", "terms")
MAX_BYTES = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """Who makes the offer."""

    name: str = ""
    address: str = ""
    contact: str = ""
    terms: str = ""


def read_practice(path: Path) -> Practice:
    """Read the `[practice]` table of a TOML file.

    Raises
    ------
    EnvelopeError
        Where the file cannot be read, is no TOML, or has a key that is unknown.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise EnvelopeError(f"{path}: the file is too large; allowed: {MAX_BYTES // 1000} kB")
        document = tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise EnvelopeError(f"{path}: cannot be read: {(error.strerror or '').lower()}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise EnvelopeError(f"{path}: this is not TOML in UTF-8: {error}") from None
    table = document.get("practice")
    if not isinstance(table, dict) or set(document) != {"practice"}:
        raise EnvelopeError(f"{path}: a practice file has one table, [practice]")
    for key, value in table.items():
        if key not in _KEYS:
            raise EnvelopeError(f"{path}: practice.{key} is unknown; allowed: {', '.join(_KEYS)}")
        if not isinstance(value, str):
            raise EnvelopeError(f"{path}: practice.{key} is written in quotes")
    return Practice(**table)
