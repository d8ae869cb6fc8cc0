"""Jobs that were open lately, and those that lie beside the one that is."""

from __future__ import annotations

import contextlib
import json
import os
from pathlib import Path

from platformdirs import user_state_path

from envelope.errors import EnvelopeError
from envelope.files import write_atomically
from envelope.text.names import shown
from viewer.app.protocol import JobFileTold

MOST = 12  # that are remembered
_MOST_LISTED = 60
_STATE = "GAPCAST_STATE"  # a folder in place of the user's own


def store() -> Path:
    """The file in which they are remembered."""
    stated = os.environ.get(_STATE)
    folder = Path(stated) if stated else user_state_path("gapcast", appauthor=False)
    return folder / "recent.json"


def recent() -> list[Path]:
    """Jobs that were open lately and are still there, the last one first."""
    try:
        found = json.loads(store().read_bytes())
    except (OSError, ValueError):
        return []
    listed = found.get("jobs", []) if isinstance(found, dict) else []
    paths = [Path(each) for each in listed if isinstance(each, str) and os.path.isabs(each)]
    return [path for path in paths[:MOST] if path.is_file()]


def remember(path: Path) -> None:
    """Put a job first; where nothing can be written, nothing is remembered."""
    paths = [path, *(each for each in recent() if each != path)][:MOST]
    file = store()
    with contextlib.suppress(OSError, EnvelopeError):
        file.parent.mkdir(parents=True, exist_ok=True)
        write_atomically(file, json.dumps({"jobs": [str(each) for each in paths]}).encode())


def other_jobs(path: Path | None, folder: Path) -> list[JobFileTold]:
    """Jobs that can be opened: of the folder, then those that were open lately elsewhere."""
    with contextlib.suppress(OSError):
        beside = sorted(each for each in folder.glob("*.toml") if not each.name.startswith("."))
        late = recent()
        listed = [*(each for each in late if each != path), *beside]
        return [_told(each, each in late) for each in dict.fromkeys(listed) if each != path][
            :_MOST_LISTED
        ]
    return []


def _told(path: Path, late: bool) -> JobFileTold:
    return {
        "path": str(path),
        "name": shown(path.name),
        "folder": shown(str(path.parent), limit=120),
        "recent": late,
    }
