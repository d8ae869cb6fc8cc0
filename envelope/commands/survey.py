"""`gapcast survey`: what the readings make of the job, and the sheet for the next visit."""

from __future__ import annotations

import argparse
import csv
import io
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from envelope.building.job import AS_BUILT, Job
from envelope.commands.arguments import add_job, add_output_switches
from envelope.commands.common import cast, chosen_plans, read_job
from envelope.commands.documents import make_sheet
from envelope.errors import EnvelopeError
from envelope.project.edit import open_text, save
from envelope.project.load import decode, read_bytes

if TYPE_CHECKING:
    from envelope.survey.planned import Planned

DESCRIPTION = (
    "Says of every reading whether the job explains it, with the odds, and of every step that was "
    "read before and after whether it kept what was promised; finds bearings of sources from "
    "directional readings outdoors. With a table of filled readings it writes them into the job. "
    "With --sheet it writes the page for the next visit: the places that would settle most of what "
    "the plans bring, what to expect there, and blanks."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    parser.add_argument(
        "readings",
        nargs="?",
        type=Path,
        metavar="READINGS.csv",
        help="table of filled readings, which are written into the job",
    )
    parser.add_argument(
        "--sheet",
        type=Path,
        metavar="FILE",
        help="write the page for the next visit: .html, or .pdf where Chromium is installed; "
        "beside it a table of the same name that ends in .csv, to fill in",
    )
    parser.add_argument(
        "--plan",
        metavar="ID",
        help="what has been done by the next visit (default: nothing), for --sheet",
    )
    parser.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="paper size (default: a4)"
    )
    add_output_switches(parser, csv=False)


def run(options: argparse.Namespace) -> int:
    """Read readings in, write the sheet, or print what the readings make of the job."""
    if options.readings is not None:
        _read_in(options.job, options.readings)
        if options.sheet is None and not options.json:
            _print_found(options)
            return 0
    if options.sheet is not None:
        _write_sheet(options)
        return 0
    _print_found(options)
    return 0


def _read_in(job: Path, table: Path) -> None:
    """Write the readings of a table into the job's file."""
    from envelope.project.readings_csv import with_readings

    opened = open_text(job)
    filled = with_readings(
        opened.text,
        table=decode(read_bytes(table), path=str(table)),
        path=str(job),
        table_path=str(table),
    )
    if filled.text != opened.text:
        save(opened=opened, text=filled.text)
    parts = [
        f"{len(names)} {word} ({', '.join(names)})"
        for names, word in ((filled.added, "added"), (filled.changed, "changed"))
        if names
    ]
    if filled.unchanged:
        as_before = len(filled.unchanged)
        parts.append(
            f"{as_before} as before" if parts else f"nothing changed, {as_before} as before"
        )
    if filled.blank:
        parts.append(f"{filled.blank} left blank")
    said = f"{job}: readings: {'; '.join(parts) or 'none in the table'}"
    print(said, file=sys.stderr)


def _print_found(options: argparse.Namespace) -> None:
    from envelope.commands.survey_tables import findings_as_plain, findings_of, print_findings

    job = read_job(options.job)
    if not job.readings:
        raise EnvelopeError(
            f"{options.job}: no reading yet: --sheet FILE writes a page for the first visit"
        )
    casts = cast(job, path=options.job) if job.receivers else None
    found = findings_of(job, casts)
    if options.json:
        print(json.dumps(findings_as_plain(job, found), indent=2))
    else:
        print_findings(job, found)


def _write_sheet(options: argparse.Namespace) -> None:
    from envelope.survey.planned import planned_readings

    sheet = make_sheet(paper=options.paper)
    from viewer.report.pdf import check_name, write_page
    from viewer.report.survey_page import survey_page

    check_name(options.sheet)
    job = read_job(options.job)
    plan = options.plan or AS_BUILT
    chosen_plans(job, [plan])  # refuses a name that is none
    casts = cast(job, path=options.job)
    planned = planned_readings(job, casts=casts, plan=plan)
    write_page(options.sheet, survey_page(job, planned, plan=plan, sheet=sheet))
    table = options.sheet.with_suffix(".csv")
    if not table.exists():  # it may have been filled in
        _write_table(table, job, planned, plan)
    # a pair and a plain reading may share one
    count = len({reading.id for each in planned for reading in each.readings})
    print(f"{options.sheet}: {count} readings to take; {table} to fill in")


def _write_table(path: Path, job: Job, planned: tuple[Planned, ...], plan: str) -> None:
    """The rows of the page, with their levels left blank."""
    from envelope.commands.survey_tables import blank_row
    from envelope.files import write_atomically
    from envelope.project.readings_csv import COLUMNS, NOTES

    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=[*COLUMNS, *NOTES], lineterminator="\n")
    writer.writeheader()
    written: set[str] = set()
    for each in planned:
        for reading in each.readings:
            if reading.id not in written:
                written.add(reading.id)
                writer.writerow(blank_row(job, reading, plan))
    write_atomically(path, text.getvalue().encode("utf-8"))
