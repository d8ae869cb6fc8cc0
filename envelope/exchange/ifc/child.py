"""The work of the process that `apart` starts: read one IFC file, hand it over, and end."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from envelope.errors import ModelFileError
from envelope.exchange.ifc.apart import REFUSED
from envelope.exchange.ifc.file import read_here
from envelope.exchange.ifc.model_cache import to_bytes


def limit(seconds: float) -> None:
    """End this process once it has worked so long: no signal of Python's stops a loop of a library.

    Where the system has no such limit the parent gives up in the end.
    """
    try:
        import resource
    except ImportError:
        return
    _, most = resource.getrlimit(resource.RLIMIT_CPU)
    resource.setrlimit(resource.RLIMIT_CPU, (int(seconds), most))


def read(path: str, spaceless: str, out: str, seconds: str) -> None:
    """Read a file and write what was read, or its faults."""
    limit(float(seconds))
    try:
        data = to_bytes(read_here(Path(path), spaceless=spaceless == "1"))
    except ModelFileError as error:
        Path(out).write_text(json.dumps([fault.message for fault in error.faults]))
        sys.exit(REFUSED)
    Path(out).write_bytes(data)
