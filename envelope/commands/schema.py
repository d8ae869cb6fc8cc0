"""`gapcast schema`: the JSON Schema of project files."""

from __future__ import annotations

import argparse
import json

from envelope.project import json_schema

DESCRIPTION = "Prints the JSON Schema of project files, with a description of every key."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.set_defaults(job=None)


def run(options: argparse.Namespace) -> int:
    """Print the schema."""
    del options
    print(json.dumps(json_schema(), indent=2))
    return 0
