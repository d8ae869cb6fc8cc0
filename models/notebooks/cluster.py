"""Analyse a folder of jobs on a cluster: python cluster.py FOLDER [SCHEDULER]

The folder must be readable under the same path on every machine. Without a scheduler's address the
work is done on this machine. Needs `pip install -e ".[cluster]"` in the folder of the README.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from envelope.batch import Asked, analyze_file, jobs_in


def analyze_folder(folder: Path, scheduler: str | None = None) -> list[dict[str, Any]]:
    """Levels of every job of a folder, in the order of their names."""
    from distributed import Client

    where: dict[str, Any] = {"processes": False, "dashboard_address": None}
    with Client(scheduler) if scheduler else Client(**where) as client:
        futures = client.map(analyze_file, jobs_in([folder]), asked=Asked(), pure=False)
        return list(client.gather(futures))


if __name__ == "__main__":
    for result in analyze_folder(Path(sys.argv[1]), *sys.argv[2:3]):
        print(result["file"], result["error"] or "")
        for row in result["rows"]:
            print(f"  {row['receiver']}, {row['plan']}: {row['level_w_m2'] * 1e6:.3g} µW/m²")
