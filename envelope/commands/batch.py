"""Several jobs of `gapcast analyze`: on all cores, with progress, into one table."""

from __future__ import annotations

import argparse
import csv
import io
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from rich.markup import escape

from envelope.batch import Asked, Result, jobs_in, run_batch
from envelope.commands.layout import open_console, plain_table
from envelope.commands.progress import Progress
from envelope.errors import EnvelopeError
from envelope.text import level
from envelope.text.names import plan_title
from envelope.text.sentences import change_words

_COLUMNS = ("level_w_m2", "low_w_m2", "high_w_m2", "below_today_db")


def analyze_many(options: argparse.Namespace) -> int:
    """Analyse several jobs and print one table; 2 where one could not be had."""
    for name in ("detail", "isotropic", "fail_over"):
        if getattr(options, name):
            raise EnvelopeError(f"--{name.replace('_', '-')} goes with one job, not with several")
    paths = jobs_in(options.job)
    asked = Asked(
        plans=tuple(options.plan or ()),
        receivers=tuple(options.receiver or ()),
        fine=options.fine,
        error=options.error,
        edges=options.edges,
    )
    progress = Progress(f"{len(paths)} jobs")
    results = run_batch(
        paths,
        asked,
        folder=options.results,
        workers=options.jobs or os.cpu_count() or 1,
        progress=progress,
    )
    progress.done()
    if options.json:
        print(json.dumps({"format": 1, "jobs": results}, indent=2, ensure_ascii=False))
    elif options.csv:
        print(_csv(results), end="")
    else:
        _print(results)
    wrong = [each["error"] for each in results if each["error"]]
    print(*wrong, sep="\n", end="\n" if wrong else "", file=sys.stderr)
    return 2 if wrong else 0


def _print(results: Sequence[Result]) -> None:
    table = plain_table("job", "receiver", "plan", ">level", ">8 times in 10", "than today", keys=1)
    for result in results:
        for number, row in enumerate(result["rows"]):
            today = row["plan"] == "as-built"
            below = row["below_today_db"]
            known = row["level_w_m2"] is not None
            ends = [row["low_w_m2"], row["high_w_m2"]]
            table.add_row(
                escape(Path(result["file"]).name) if number == 0 else "",
                escape(row["receiver"]),
                escape(plan_title(row["plan"])),
                level(row["level_w_m2"]) if known else "",
                " to ".join(level(end, unit=False) for end in ends) if None not in ends else "",
                "" if today or below is None else change_words(below),
            )
        if result["error"]:
            table.add_row(escape(Path(result["file"]).name), "", "could not be had", "", "", "")
    open_console().print(table)


def _csv(results: Sequence[Result]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["file", "project", "receiver", "plan", *_COLUMNS])
    for result in results:
        for row in result["rows"]:
            values = [row[name] for name in _COLUMNS]
            writer.writerow(
                [result["file"], result["project"], row["receiver"], row["plan"], *values]
            )
    return text.getvalue()
