"""The `gapcast` command: parse, call one function, print. Saying hello imports nothing heavy."""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from envelope.errors import EnvelopeError, FaultsError

FINE, FINDINGS, BAD_INPUT = 0, 1, 2

# Commands whose name cannot name a module.
_MODULES = {"import": "import_model"}


def _positive(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0.0 <= value < float("inf"):
        raise argparse.ArgumentTypeError(f"found {text!r}; allowed is a number from 0 up")
    return value


def _job_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", type=Path, help="project file (TOML)")


def _output_switches(parser: argparse.ArgumentParser, *, csv: bool) -> None:
    group = parser.add_mutually_exclusive_group()
    group.add_argument("--json", action="store_true", help="print JSON instead of tables")
    if csv:
        group.add_argument("--csv", action="store_true", help="print the gaps as CSV")


def _threshold(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--threshold",
        type=_positive,
        default=20.0,
        metavar="DB",
        help="loss below which a direction counts as unshielded (default 20 dB)",
    )


def _plans_and_threshold(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--plan", action="append", metavar="ID", help="only this plan; may be given several times"
    )
    _threshold(parser)


def _analysis_arguments(parser: argparse.ArgumentParser) -> None:
    _plans_and_threshold(parser)
    parser.add_argument(
        "--receiver", action="append", metavar="ID", help="only this receiver; likewise"
    )
    parser.add_argument(
        "--fine", action="store_true", help="cast about ten times as many rays as usual"
    )
    parser.add_argument(
        "--edges",
        action="store_true",
        help="let beams bend around the edges of openings (diffraction)",
    )


def _import_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "model",
        type=Path,
        help="GLB, glTF, OBJ, STL, PLY or IFC; with --dry-run a project file too",
    )
    look = parser.add_mutually_exclusive_group()
    look.add_argument("--list", action="store_true", help="only list its storeys and spaces")
    look.add_argument(
        "--dry-run",
        action="store_true",
        help="only list its panels: area, kind, what lies beyond, the rule that caught each",
    )
    parser.add_argument(
        "--space",
        action="append",
        metavar="NAME",
        help="take this space; may be given several times",
    )
    parser.add_argument("--storey", metavar="NAME", help="take the spaces of this storey only")
    parser.add_argument(
        "--unit", choices=("m", "cm", "mm", "ft", "in"), help="unit of OBJ, STL and PLY"
    )
    parser.add_argument("--up", choices=("x", "y", "z"), help="their axis that points up")
    parser.add_argument("--rules", type=Path, metavar="FILE", help="TOML file of [[tag]] rules")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="JOB", help="project file to write; never overwritten"
    )
    parser.add_argument(
        "--picture",
        type=Path,
        metavar="PNG",
        help="draw the model with numbers where something was repaired, refused or left open",
    )


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="gapcast",
        description="Finds the gaps that remain in a shielded room and what they let in.",
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)

    check = commands.add_parser("check", help="list every fault of a project file")
    _job_argument(check)
    _output_switches(check, csv=False)

    analyze = commands.add_parser(
        "analyze", help="unshielded solid angle, ranked gaps and level at the bed, for each plan"
    )
    _job_argument(analyze)
    _analysis_arguments(analyze)
    _output_switches(analyze, csv=True)
    analyze.add_argument(
        "--fail-over",
        type=_positive,
        metavar="SR",
        help="exit with 1 where more than this many steradians are unshielded",
    )

    compare = commands.add_parser(
        "compare", help="the plans of a job side by side, also with the room on other storeys"
    )
    _job_argument(compare)
    _analysis_arguments(compare)
    _output_switches(compare, csv=False)
    compare.add_argument(
        "--storeys",
        metavar="A,B",
        help="put the receiver's room on each of these storeys in turn",
    )

    view = commands.add_parser(
        "view", help="the room in a browser: pick faces, change treatments; without a job, a form"
    )
    view.add_argument("job", type=Path, nargs="?", help="project file (TOML)")
    view.add_argument("--window", action="store_true", help="a window of its own instead")
    view.add_argument("--port", type=int, help="port on the loopback (default: a free one)")
    view.add_argument("--no-browser", action="store_true", help="print the address, open nothing")
    _plans_and_threshold(view)

    handout = commands.add_parser(
        "handout", help="one HTML file for the client, which opens without a network"
    )
    _job_argument(handout)
    handout.add_argument("-o", "--output", type=Path, required=True, help="HTML file to write")
    _plans_and_threshold(handout)

    picture = commands.add_parser(
        "picture", help="a PNG: cutaway, all directions from the bed, or levels over the floor"
    )
    _job_argument(picture)
    picture.add_argument("-o", "--output", type=Path, required=True, help="PNG file to write")
    picture.add_argument(
        "--plan",
        action="append",
        metavar="ID",
        help="plan to draw (default: the last one); given twice, both side by side",
    )
    kind = picture.add_mutually_exclusive_group()
    kind.add_argument("--sky", action="store_true", help="what the receiver sees in all directions")
    kind.add_argument(
        "--map", action="store_true", help="levels over the floor at the receiver's height"
    )
    picture.add_argument("--receiver", metavar="ID", help="receiver to draw for (default: first)")
    picture.add_argument("--dark", action="store_true", help="dark ground")
    _threshold(picture)

    loss = commands.add_parser(
        "loss", help="loss and reflection of a stack by frequency and angle, coat by coat"
    )
    _job_argument(loss)
    loss.add_argument("--assembly", metavar="ID", help="assembly; without it, air")
    loss.add_argument(
        "--treatment", action="append", metavar="ID", help="treatment, the one on the surface first"
    )
    loss.add_argument(
        "--at", action="append", metavar="FREQUENCY", help='frequency, such as "2.45 GHz"'
    )
    loss.add_argument("--json", action="store_true", help="print JSON instead of tables")
    loss.add_argument("--png", type=Path, metavar="FILE", help="draw the curves too")

    _import_arguments(
        commands.add_parser("import", help="a model file (GLB, OBJ, STL, PLY, IFC) as a job")
    )

    export = commands.add_parser(
        "export", help="the analysed scene for other programs: GLB, OBJ, STL, PLY, or CSV of panels"
    )
    _job_argument(export)
    export.add_argument("-o", "--output", type=Path, required=True, help="file to write")
    export.add_argument("--plan", metavar="ID", help="plan to write (default: the last one)")
    export.add_argument("--receiver", metavar="ID", help="where losses count (default: first)")
    _threshold(export)

    schema = commands.add_parser("schema", help="print the JSON Schema of project files")
    schema.set_defaults(job=None)

    demo = commands.add_parser("demo", help="copy the sample jobs into a folder")
    demo.add_argument("folder", type=Path, help="folder to write to; made where it is missing")
    return parser


def command_names() -> tuple[str, ...]:
    """Every command, in the order of the help."""
    actions = _parser()._subparsers
    assert actions is not None
    (commands,) = actions._group_actions
    assert commands.choices is not None
    return tuple(commands.choices)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code: 0 fine, 1 findings, 2 bad input."""
    options = _parser().parse_args(arguments)
    try:
        module = _MODULES.get(options.command, options.command)
        run = importlib.import_module(f"envelope.commands.{module}").run
        code = int(run(options))
        sys.stdout.flush()  # here rather than on the way out, where nothing catches what it raises
        return code
    except FaultsError as error:
        for fault in error.faults:
            print(fault, file=sys.stderr)
    except EnvelopeError as error:
        print(error, file=sys.stderr)
    except BrokenPipeError:
        # The reader of our output has gone, for example `head`: that is not a fault.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FINE
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return 130
    return BAD_INPUT


if __name__ == "__main__":
    sys.exit(main())
