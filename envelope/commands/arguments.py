"""Arguments that several commands share. Light: the help of the command line imports this."""

from __future__ import annotations

import argparse
from pathlib import Path


def _number(text: str, unit: str) -> float:
    """A number from 0 up, with or without its unit: "20", "20 dB", "20dB"."""
    bare = text.strip()
    if bare.lower().endswith(unit.lower()):
        bare = bare[: -len(unit)]
    try:
        value = float(bare)
    except ValueError:
        value = -1.0
    if not 0.0 <= value < float("inf"):
        raise argparse.ArgumentTypeError(
            f'found {text!r}; allowed is a number from 0 up, such as "2 {unit}"'
        )
    return value


def _decibels(text: str) -> float:
    return _number(text, "dB")


def error_share(text: str) -> float:
    """A standard error in per cent, as a share."""
    share = _number(text, "%") / 100.0
    if not 1e-5 <= share <= 0.1:
        raise argparse.ArgumentTypeError(f"found {text!r}; allowed is 0.001 % to 10 %")
    return share


def steradian_count(text: str) -> float:
    return _number(text, "sr")


def port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 6 and 0 < int(text) < 65536):
        raise argparse.ArgumentTypeError(f"found {text!r}; allowed is a number from 1 to 65535")
    return int(text)


def processes(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 4 and int(text) > 0):
        raise argparse.ArgumentTypeError(f"found {text!r}; allowed is a number from 1 to 999")
    return int(text)


def png_path(text: str) -> Path:
    if not text.lower().endswith(".png"):
        raise argparse.ArgumentTypeError(f"found {text!r}; allowed is a name that ends in .png")
    return Path(text)


def html_path(text: str) -> Path:
    """A name that ends in .html, as an argument."""
    if not text.lower().endswith(".html"):
        raise argparse.ArgumentTypeError(f"found {text!r}; allowed is a name that ends in .html")
    return Path(text)


def add_job(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", type=Path, help="project file (TOML)")


def add_output_switches(parser: argparse.ArgumentParser, *, csv: bool) -> None:
    group = parser.add_mutually_exclusive_group()
    group.add_argument("--json", action="store_true", help="print JSON instead of tables")
    if csv:
        group.add_argument("--csv", action="store_true", help="print the gaps as CSV")


def add_threshold(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--threshold",
        type=_decibels,
        default=20.0,
        metavar="DB",
        help='loss below which a direction counts as unshielded, and a face as a gap: "20 dB", or '
        "20 alone (the default)",
    )


def add_plans_and_threshold(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--plan", action="append", metavar="ID", help="only this plan; may be given several times"
    )
    add_threshold(parser)


def add_analysis_arguments(parser: argparse.ArgumentParser) -> None:
    add_plans_and_threshold(parser)
    parser.add_argument(
        "--receiver", action="append", metavar="ID", help="only this receiver; likewise"
    )
    parser.add_argument(
        "--fine", action="store_true", help="cast about ten times as many rays as usual"
    )
    parser.add_argument(
        "--error",
        type=error_share,
        metavar="PERCENT",
        help='standard error that rays are cast to reach, such as "0.05 %%": of the '
        "open-equivalent solid angle, and of the unshielded one relative to the sphere (the "
        "default: 0.1 %%; with --fine: 0.02 %%)",
    )
    parser.add_argument(
        "--edges",
        action="store_true",
        help="let beams bend around the edges of openings (diffraction)",
    )
