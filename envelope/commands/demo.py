"""`gapcast demo`: copies the sample jobs, which are inventions of our own, into a folder."""

from __future__ import annotations

import argparse
import tomllib
from pathlib import Path

from envelope.errors import EnvelopeError
from envelope.files import sample_jobs, write_atomically

DESCRIPTION = (
    "Copies the sample jobs, all inventions, into a folder; files that are there already are "
    "left alone."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("folder", type=Path, help="folder to write to; made where it is missing")


def copy_samples(folder: Path) -> list[tuple[Path, str, bool]]:
    """Copy every sample job; a file that is there already and differs is left alone.

    Returns
    -------
    copied : list of (Path, str, bool)
        Each file, the sample's name, and whether the file now holds the sample.
    """
    if folder.exists() and not folder.is_dir():
        raise EnvelopeError(f"{folder}: is a file; a folder is needed to copy the samples into")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise EnvelopeError(f"{folder}: cannot be made: {error.strerror}") from error
    copied = []
    for sample in sample_jobs():
        target = folder / sample.name
        text = sample.read_bytes()
        if not target.exists():
            write_atomically(target, text)
        name = str(tomllib.loads(text.decode())["name"])
        copied.append((target, name, target.read_bytes() == text))
    return copied


def run(options: argparse.Namespace) -> int:
    """Copy the samples and say where they are and what they are called."""
    for path, name, same in copy_samples(options.folder):
        kept = "" if same else " (was there already and differs from the sample: left alone)"
        print(f"{path}: {name}{kept}")
    return 0
