"""What stands inside the page of a hand-out: pictures and data."""

from __future__ import annotations

import base64
import io
import json
from importlib.util import find_spec


def data_address(picture: bytes) -> str:
    """A PNG as an address that holds it, as a JPEG where that is smaller."""
    kind = "png"
    if find_spec("PIL") is not None:
        from PIL import Image

        small = io.BytesIO()
        with Image.open(io.BytesIO(picture)) as image:
            image.convert("RGB").save(small, "JPEG", quality=86, optimize=True)
        if small.tell() < len(picture):
            kind, picture = "jpeg", small.getvalue()
    return f"data:image/{kind};base64,{base64.b64encode(picture).decode()}"


def inline_json(value: object) -> str:
    """JSON that no name in it can turn into the end of its script element."""
    plain = json.dumps(value, allow_nan=False, separators=(",", ":"), ensure_ascii=False)
    for character in "<>&\u2028\u2029":
        plain = plain.replace(character, f"\\u{ord(character):04x}")
    return plain
