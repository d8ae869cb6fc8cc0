"""Pages, pictures and lists of a job as it stands in the app, edits that are not saved included.

Each is made by the program's own command in a process of its own: what leaves the app is what the
command line makes, and a library that draws and falls does not take the app with it.

    text as edited ──▶ .job.toml.draft-… beside the job ──▶ gapcast handout … ──▶ job-handout.html
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import envelope
from envelope.cli import COMMANDS
from envelope.errors import EnvelopeError
from envelope.files import write_atomically
from envelope.text.names import shown
from viewer.app import protocol
from viewer.app.protocol import Folder
from viewer.app.session import Session

LIMIT_S = 900.0  # after which a command is stopped
_COLUMNS = 100  # of a text that is shown
MOST_TEXT = 200_000  # characters of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """Something that can be made of a job."""

    id: str
    command: str
    group: Literal["client", "site", "picture", "other"]
    title: str
    said: str
    ending: str  # of the file's name
    switches: tuple[str, ...] = ()
    takes_plan: bool = True
    takes_receiver: bool = False
    writes: bool = True  # the command takes -o; otherwise what it prints is the output
    shows: bool = False  # without -o it prints what can be read here
    of_wiring: bool = False  # of a job whose wiring has been entered


OUTPUTS = (
    Output(
        id="handout",
        command="handout",
        group="client",
        title="Hand-out",
        said="a page that explains the plans to the client and opens without a network",
        ending="-handout.html",
        takes_plan=False,
    ),
    Output(
        id="offer",
        command="offer",
        group="client",
        title="Offer",
        said="one page for paper, to be signed: what is done, what it brings, what it costs",
        ending="-offer.html",
        takes_receiver=True,
    ),
    Output(
        id="report",
        command="report",
        group="client",
        title="Report",
        said="the whole job on paper: visit, plans, quantities, bonding, order of work",
        ending="-report.html",
        takes_receiver=True,
    ),
    Output(
        id="handover",
        command="handover",
        group="client",
        title="Hand-over",
        said="the file that stays with the house: where the coating lies, care, readings",
        ending="-handover.html",
        takes_receiver=True,
    ),
    Output(
        id="orders",
        command="takeoff",
        group="site",
        title="Order list",
        said="areas, strips, packages, labour and money of a plan",
        ending="-order.html",
        shows=True,
    ),
    Output(
        id="orders-csv",
        command="takeoff",
        group="site",
        title="Order list as a table",
        said="the same for a spreadsheet",
        ending="-order.csv",
        switches=("--csv",),
        writes=False,
    ),
    Output(
        id="workorder",
        command="workorder",
        group="site",
        title="Work order",
        said="a page for each trade: numbered steps, drawings of the walls, tests with blanks",
        ending="-workorder.html",
        shows=True,
    ),
    Output(
        id="bonding",
        command="bond",
        group="site",
        title="Bonding",
        said="what is one conductor, where it is bonded, resistances to expect, drawings",
        ending="-bonding.html",
        shows=True,
    ),
    Output(
        id="cutaway",
        command="picture",
        group="picture",
        title="Picture of the room",
        said="the room cut open, with what gets in",
        ending="-room.png",
        takes_receiver=True,
    ),
    Output(
        id="sky",
        command="picture",
        group="picture",
        title="Picture of all directions",
        said="what the bed sees all round",
        ending="-directions.png",
        switches=("--sky",),
        takes_receiver=True,
    ),
    Output(
        id="map",
        command="picture",
        group="picture",
        title="Picture of the floor",
        said="the level over the floor at the bed's height",
        ending="-floor.png",
        switches=("--map",),
        takes_receiver=True,
    ),
    Output(
        id="cables",
        command="picture",
        group="picture",
        title="Picture of the cables",
        said="the room cut open, cables by what remains of their field when each is off",
        ending="-cables.png",
        switches=("--colour", "wiring"),
        takes_receiver=True,
        of_wiring=True,
    ),
    Output(
        id="field-map",
        command="wiring",
        group="picture",
        title="Picture of the wiring's field",
        said="the field over the floor at the bed's height, today and under a plan",
        ending="-field.png",
        takes_receiver=True,
        of_wiring=True,
    ),
    Output(
        id="field",
        command="wiring",
        group="site",
        title="Field of the wiring",
        said="volts a metre at the bed, circuit by circuit, with what coating and bonds do",
        ending="-field.txt",
        takes_receiver=True,
        writes=False,
        of_wiring=True,
    ),
    Output(
        id="glb",
        command="export",
        group="other",
        title="Model for other programs",
        said="rooms, treatments and what gets in, as GLB",
        ending=".glb",
        takes_receiver=True,
    ),
    Output(
        id="faces",
        command="export",
        group="other",
        title="Faces as a table",
        said="every face with its area, treatments, loss and share, for a spreadsheet",
        ending="-faces.csv",
        takes_receiver=True,
    ),
)


class OutputError(EnvelopeError):
    """Something could not be made; `exists` where a file of the name is there already."""

    def __init__(self, message: str, *, exists: bool = False) -> None:
        self.exists = exists
        super().__init__(message)


@dataclass(slots=True, kw_only=True)
class Outbox:
    """What has been made of a job, and can be looked at in the browser.

    Parameters
    ----------
    session : Session
        Its text is taken as it stands.
    """

    session: Session
    made: list[Path] = field(default_factory=list)

    def menu(self, jobs: Sequence[protocol.JobFileTold]) -> protocol.MenuTold:
        """What can be made, and where it may go."""
        stem = self.session.path.stem
        job = self.session.job
        wired = job is not None and job.wiring is not None and bool(job.wiring.circuits)
        return {
            "tell": "menu",
            "outputs": [
                {
                    "id": each.id,
                    "group": each.group,
                    "title": each.title,
                    "said": each.said,
                    "name": f"{stem}{each.ending}",
                    "takes_plan": each.takes_plan,
                    "text": each.shows or not each.writes,
                }
                for each in OUTPUTS
                if each.command in COMMANDS and (wired or not each.of_wiring)
            ],
            "folder": shown(str(self.session.path.parent), limit=120),
            "home": shown(str(Path.home()), limit=120),
            "copy": f"{stem}-copy.toml",
            "jobs": list(jobs),
        }

    async def make(self, asked: protocol.MakeOutput) -> protocol.MadeTold:
        """Make what is asked for; whatever goes wrong is told in a sentence."""
        told: protocol.MadeTold = {
            "tell": "made",
            "output": asked.output,
            "file": None,
            "address": None,
            "text": None,
            "trouble": None,
            "exists": False,
        }
        try:
            output = _output(asked.output)
            if not asked.name and (output.shows or not output.writes):
                told["text"] = (await self._run(output, asked, None))[:MOST_TEXT]
                return told
            path = self.place(asked.name, folder=asked.folder, ending=Path(output.ending).suffix)
            if path.exists() and not asked.overwrite:
                raise OutputError(f"{shown(path.name)} is there already", exists=True)
            printed = await self._run(output, asked, path if output.writes else None)
            if not output.writes:
                await asyncio.to_thread(write_atomically, path, printed.encode("utf-8"))
            self.made.append(path)
            told["file"] = shown(str(path), limit=200)
            told["address"] = f"/made/{len(self.made) - 1}"
        except EnvelopeError as error:
            told["trouble"] = shown(str(error), limit=600)
            told["exists"] = isinstance(error, OutputError) and error.exists
        return told

    def place(self, name: str, *, folder: Folder, ending: str) -> Path:
        """Where a file goes: a plain name in the job's folder or in the home folder.

        Raises
        ------
        OutputError
            For anything that is no plain name.
        """
        base = name.strip()
        plain = base and Path(base).name == base and "\\" not in base and not base.startswith(".")
        if not plain or not base.isprintable() or len(base.encode()) > 200:
            raise OutputError(f'"{shown(base)}" is no plain file name')
        if Path(base).suffix.lower() != ending:
            raise OutputError(f"{shown(base)} must end in {ending}")
        return (self.session.path.parent if folder == "job" else Path.home()) / base

    def save_copy(self, asked: protocol.SaveCopy) -> Path:
        """Write the text as it stands into a new file; one that is there is never written over."""
        path = self.place(asked.name, folder=asked.folder, ending=".toml")
        if path.exists():
            raise OutputError(f"{shown(path.name)} is there already: choose another name")
        write_atomically(path, self.session.text.encode("utf-8"))
        return path

    async def _run(self, output: Output, asked: protocol.MakeOutput, path: Path | None) -> str:
        """Run the command on the text as it stands; answers what it prints."""
        draft = await asyncio.to_thread(self._draft)
        arguments = [output.command, str(draft), *output.switches]
        if path is not None:
            arguments += ["-o", str(path)]
        if output.takes_plan and asked.plan is not None:
            arguments += ["--plan", asked.plan]
        if output.takes_receiver and asked.receiver is not None:
            arguments += ["--receiver", asked.receiver]
        try:
            return await self._finished(arguments, draft)
        finally:
            with contextlib.suppress(OSError):
                draft.unlink()

    async def _finished(self, arguments: Sequence[str], draft: Path) -> str:
        process = self._started(arguments)
        try:
            out, said = await asyncio.to_thread(process.communicate, timeout=LIMIT_S)
        except subprocess.TimeoutExpired:
            raise OutputError("it took too long and was stopped") from None
        finally:
            if process.poll() is None:  # stopped, or the page's program ends
                process.kill()
                await asyncio.to_thread(process.wait)
        if process.returncode not in (0, 1):
            lines = said.decode("utf-8", "replace").strip().splitlines() or ["it could not be made"]
            named = " ".join(line.replace(str(draft), self.session.path.name) for line in lines[:6])
            raise OutputError(named.replace(draft.name, self.session.path.name))
        return out.decode("utf-8", "replace")

    def _started(self, arguments: Sequence[str]) -> subprocess.Popen[bytes]:
        """The command, begun.

        By `subprocess`, which does not run what libraries ask for when a program forks: an event
        loop of another make does, and a fork then waits for ever for threads of linear algebra
        that work on the job meanwhile.
        """
        root = str(Path(envelope.__file__).parent.parent)
        before = os.environ.get("PYTHONPATH")
        return subprocess.Popen(
            [sys.executable, "-m", "envelope.cli", *arguments],
            cwd=self.session.path.parent,
            env={
                **os.environ,
                "PYTHONPATH": os.pathsep.join([root, *([before] if before else [])]),
                "PYTHONIOENCODING": "utf-8",
                "COLUMNS": str(_COLUMNS),
                "NO_COLOR": "1",
            },
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )

    def _draft(self) -> Path:
        """The text as it stands, beside the job, where what it names is found from."""
        data = self.session.text.encode("utf-8")
        for folder in (self.session.path.parent, Path(tempfile.gettempdir())):
            try:
                handle, name = tempfile.mkstemp(
                    prefix=f".{self.session.path.stem}.", suffix=".draft.toml", dir=folder
                )
            except OSError:
                continue  # a folder that takes no file
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            return Path(name)
        raise OutputError("no folder takes the file that is worked from")


def _output(name: str) -> Output:
    for each in OUTPUTS:
        if each.id == name and each.command in COMMANDS:
            return each
    raise OutputError(f"there is no output {shown(name)}")
