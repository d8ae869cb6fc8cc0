"""The practice's own name, address, logo and terms, from a file that all jobs share."""

from __future__ import annotations

import base64
import tomllib
from dataclasses import dataclass
from pathlib import Path

from envelope.errors import EnvelopeError

_KEYS = ("name", "address", "contact", "terms", "logo")
_LOGOS = {".png": "image/png", ".jpg": "image/jpeg", ".jpeg": "image/jpeg"}
MAX_BYTES = 100_000
MAX_LOGO_BYTES = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """Who makes the pages."""

    name: str = ""
    address: str = ""
    contact: str = ""
    terms: str = ""
    logo: str = ""  # as an address that holds the picture itself


def read_practice(path: Path) -> Practice:
    """Read the `[practice]` table of a TOML file.

    Raises
    ------
    EnvelopeError
        Where the file or its logo cannot be read, or has a key that is unknown.
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
    if table.get("logo"):
        table["logo"] = _picture(path, table["logo"])
    return Practice(**table)


def _picture(path: Path, name: str) -> str:
    """A picture beside the practice file, as an address that holds it."""
    file = path.parent / name
    kind = _LOGOS.get(file.suffix.lower())
    if kind is None:
        raise EnvelopeError(
            f"{path}: practice.logo is {name!r}; allowed: a file that ends in {', '.join(_LOGOS)}"
        )
    try:
        data = file.read_bytes()
    except OSError as error:
        why = (error.strerror or "").lower()
        raise EnvelopeError(f"{path}: practice.logo {name!r} cannot be read: {why}") from None
    if len(data) > MAX_LOGO_BYTES:
        raise EnvelopeError(f"{path}: practice.logo {name!r} is too large; allowed: 1 MB")
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"
