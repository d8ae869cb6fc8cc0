"""What a message from a page may hold at most."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

Length = Annotated[float, Field(allow_inf_nan=False)] | str  # metres, or as typed with its unit
Point = tuple[Length, Length, Length]
MAX_TEXT = 2_000_000  # characters of one text in a message
MAX_ITEMS = 20_000
Text = Annotated[str, Field(max_length=MAX_TEXT)]
Texts = Annotated[tuple[str, ...], Field(max_length=MAX_ITEMS)]
PartsTyped = Annotated[list[dict[str, Text]], Field(max_length=1000)]  # of a value in brackets
