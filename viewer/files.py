"""Writing files whole, under the name that the viewer uses."""

from __future__ import annotations

from envelope.files import write_atomically as write_whole

__all__ = ["write_whole"]
