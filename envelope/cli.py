"""The `gapcast` command: parse, call one function, print. Saying hello imports nothing heavy."""

from __future__ import annotations

import argparse
import contextlib
import errno
import importlib
import io
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from envelope.errors import EnvelopeError, FaultsError

FINE, FINDINGS, BAD_INPUT = 0, 1, 2
_FULL = frozenset((errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO))  # of the output

# Commands whose name cannot name a module.
_MODULES = {"import": "import_model"}


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


def _steradians(text: str) -> float:
    return _number(text, "sr")


def _port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 6 and 0 < int(text) < 65536):
        raise argparse.ArgumentTypeError(f"found {text!r}; allowed is a number from 1 to 65535")
    return int(text)


def _png(text: str) -> Path:
    if not text.lower().endswith(".png"):
        raise argparse.ArgumentTypeError(f"found {text!r}; allowed is a name that ends in .png")
    return Path(text)


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
        type=_decibels,
        default=20.0,
        metavar="DB",
        help='loss below which a direction counts as unshielded, and a face as a gap: "20 dB", or '
        "20 alone (the default)",
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
        type=_png,
        metavar="PNG",
        help="draw the model with numbers where something was repaired, refused or left open",
    )


_DESCRIPTIONS = {
    "check": "Reads a project file and lists every fault at once, each with its line; without a "
    "fault, says what the file describes.",
    "analyze": "Casts rays between each receiver and the outside and says, for each plan, how much "
    "is unshielded, which faces are the gaps, and what each source brings to the receiver: "
    "straight, thrown about in the room, and in all.",
    "compare": "Sets the plans of a job side by side: what is unshielded, the leakiest face, and "
    "the level at each receiver against outside and against as-built.",
    "view": "Shows the room as a cutaway in a browser on this machine, with no network: pick a "
    "face, change its treatment, save back into the file; without a job, a form begins one.",
    "handout": "Writes one HTML file that explains the plans to a client and opens without a "
    "network.",
    "picture": "Draws one PNG: the room as a cutaway, what the receiver sees in all directions, or "
    "the level over the floor.",
    "loss": "Judges one stack by itself, before it is bought: what an assembly with treatments on "
    "its inner face lets through and throws back, by frequency and angle, and what each further "
    "coat brings.",
    "import": "Turns the spaces of a model file into a project file that refers to the model, and "
    "lists what was assumed, repaired or left out.",
    "export": "Writes the rooms with what each face wears and lets in under a plan, for other "
    "programs.",
    "schema": "Prints the JSON Schema of project files, with a description of every key.",
    "demo": "Copies the sample jobs, all inventions, into a folder; files that are there already "
    "are left alone.",
}


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
        type=_steradians,
        metavar="SR",
        help="exit with 1 where more than this many steradians are unshielded, under any plan, at "
        "any receiver, in any band; as-built counts only where --plan names it or the job has no "
        "other plan",
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
    view.add_argument("--port", type=_port, help="port on the loopback (default: a free one)")
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
    picture.add_argument("-o", "--output", type=_png, required=True, help="PNG file to write")
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
    picture.add_argument(
        "--storey",
        metavar="ID",
        help="cutaway of one whole storey, or of all: the whole house (default: the receiver's "
        "room)",
    )
    picture.add_argument(
        "--peel",
        type=int,
        choices=range(1, 10),
        metavar="N",
        help="cutaway of the whole house without its top storey, or its top N",
    )
    picture.add_argument(
        "--colour",
        choices=("let-in", "loss", "treatment"),
        default="let-in",
        help="what a cutaway's colours mean (default: let-in)",
    )
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
    loss.add_argument("--png", type=_png, metavar="FILE", help="draw the curves too")

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
    for name, each in commands.choices.items():
        each.description = _DESCRIPTIONS[name]
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
    _prepare_streams()
    options = _parser().parse_args(arguments)
    try:
        for name in ("output", "png", "picture"):
            if getattr(options, name, None) is not None:
                _require_writable(getattr(options, name))
        module = _MODULES.get(options.command, options.command)
        run = importlib.import_module(f"envelope.commands.{module}").run
        code = int(run(options))
        sys.stdout.flush()  # here rather than on the way out, where nothing catches what it raises
        return code
    except FaultsError as error:
        _say(*map(str, error.faults))
    except EnvelopeError as error:
        _say(str(error))
    except BrokenPipeError:
        # The reader of our output has gone, for example `head`: that is not a fault.
        _abandon_output()
        return FINE
    except OSError as error:
        if error.errno not in _FULL:
            raise
        _abandon_output()
        _say(f"the output cannot be written: {(error.strerror or 'no space').lower()}")
    except KeyboardInterrupt:
        _say("stopped")
        return 130
    return BAD_INPUT


def _require_writable(path: Path) -> None:
    from envelope.files import require_writable

    require_writable(path)


def _prepare_streams() -> None:
    """Streams that are there, and that show a "?" for a sign which they cannot show."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:  # closed by whoever runs the command
            nowhere = os.open(os.devnull, os.O_WRONLY)
            setattr(sys, name, os.fdopen(nowhere, "w", encoding="utf-8"))
        elif isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _abandon_output() -> None:
    """Let what has not been written yet go nowhere, so that nothing is said of it at the end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _say(*lines: str) -> None:
    """Tell why a command ends, if there is somewhere to tell it."""
    with contextlib.suppress(OSError):
        print(*lines, sep="\n", file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main())
