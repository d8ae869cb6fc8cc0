"""The `gapcast` command: parse, call one function, print. Saying hello imports nothing heavy."""

from __future__ import annotations

import argparse
import contextlib
import errno
import gc
import importlib
import io
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from types import ModuleType

from envelope.errors import EnvelopeError, FaultsError

FINE, FINDINGS, BAD_INPUT = 0, 1, 2
_FULL = frozenset((errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO))  # of the output

# Commands whose name cannot name a module.

# Every command in the order of the help, each with one line of it. A command owns its arguments:
# its module is imported when the command is asked for, so that the help imports nothing heavy.
COMMANDS = {
    "check": "list every fault of a project file",
    "analyze": "unshielded solid angle, ranked gaps and level at the bed, for each plan",
    "compare": "the plans of a job side by side, also with the room on other storeys",
    "decide": "what to do first: a sequence of measures with cost, effect and range",
    "bed": "where in the room the bed is best, before and after treatment",
    "survey": "readings: explained or not, promises kept, the sheet for the next visit",
    "wiring": "the 50/60 Hz electric field of the house wiring: circuits, coating, bonds, strips",
    "offer": "one page for the client to sign: plans as options, levels, costs",
    "takeoff": "quantities of a plan: areas, cuts, packages, labour, money",
    "bond": "what is one conductor, where it is bonded, resistances to expect",
    "workorder": "the work in numbered steps by trade, with what must hold before each ends",
    "view": "the room in a browser: pick faces, change treatments; without a job, a form",
    "handover": "the file that stays with the house: where the coating lies, care, readings",
    "report": "the whole job on paper: visit, plans, quantities, bonding, order of work",
    "handout": "one HTML file for the client, which opens without a network",
    "picture": "a PNG: cutaway, all directions from the bed, or levels over the floor",
    "loss": "loss and reflection of a stack by frequency and angle, coat by coat",
    "import": "a model file (GLB, OBJ, STL, PLY, IFC) as a job",
    "export": "the analysed scene for other programs: GLB, OBJ, STL, PLY, or CSV of panels",
    "library": "assemblies, materials, services that a job may name; usual figures of the trade",
    "schema": "print the JSON Schema of project files",
    "demo": "copy the sample jobs into a folder",
}
_MODULES = {"import": "import_model"}  # commands whose name cannot name a module


def command_names() -> tuple[str, ...]:
    """Every command, in the order of the help."""
    return tuple(COMMANDS)


def _module(command: str) -> ModuleType:
    return importlib.import_module(f"envelope.commands.{_MODULES.get(command, command)}")


def _parser(asked: str | None = None) -> argparse.ArgumentParser:
    """The parser of all commands, with the arguments of the one that is asked for."""
    parser = argparse.ArgumentParser(
        prog="gapcast",
        description="Finds the gaps that remain in a shielded room and what they let in.",
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, line in COMMANDS.items():
        command = commands.add_parser(name, help=line)
        if name == asked:
            module = _module(name)
            command.description = module.DESCRIPTION
            module.add_arguments(command)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code: 0 fine, 1 findings, 2 bad input."""
    if arguments is not None:
        return _run(list(arguments), whole_process=False)
    # What is loaded stays until the process ends: looking through it for what nobody holds any
    # more, now and again while it loads and once more on the way out, takes long and finds nothing.
    gc.disable()
    try:
        return _run(sys.argv[1:], whole_process=True)
    finally:
        gc.freeze()
        gc.enable()


def _run(given: list[str], *, whole_process: bool) -> int:
    _prepare_streams()
    try:
        options = _parser(given[0] if given else None).parse_args(given)
        if whole_process:  # its module is loaded
            gc.freeze()
            gc.enable()
        for name in ("output", "png", "picture"):
            if getattr(options, name, None) is not None:
                _require_writable(getattr(options, name))
        code = int(_module(options.command).run(options))
        sys.stdout.flush()  # here rather than on the way out, where nothing catches what it raises
        return code
    except FaultsError as error:
        _say(*(fault.described() for fault in error.faults))
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
