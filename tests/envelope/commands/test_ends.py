"""How a command ends where its output cannot go: one sentence, the right code, no traceback."""

import errno
import io
import os
import signal
import sys
from pathlib import Path

import pytest

from envelope.cli import main
from envelope.commands.progress import Progress
from envelope.kept import VARIABLE

JOB = Path(__file__).parent.parent / "project" / "data" / "bedroom.toml"


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.chdir(tmp_path)
    Path("job.toml").write_bytes(JOB.read_bytes())
    Path("circle").symlink_to("circle")
    return "job.toml"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ["handout", "-o", "no/h.html"],
            "no/h.html: cannot be written: no: there is no such folder: make it first",
        ),
        (["handout", "-o", "job.toml/h"], "job.toml/h: cannot be written: job.toml: is no folder"),
        (["handout", "-o", "."], ".: is a folder; the name of a file is needed"),
        (["handout", "-o", "circle"], "circle: cannot be written"),
        (["handout", "-o", "a\0b"], "a\0b: this cannot be the name of a file"),
        (["picture", "-o", "no/p.png"], "no/p.png: cannot be written: no: there is no such folder"),
        (["loss", "--png", "no/p.png"], "no/p.png: cannot be written: no: there is no such folder"),
        (["export", "-o", "no/p.glb"], "no/p.glb: cannot be written: no: there is no such folder"),
    ],
)
def test_a_file_that_cannot_be_written_is_told_before_anything_is_computed(
    job: str, arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    command, *rest = arguments
    assert main([command, job, *rest]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert captured.err.startswith(message)


def test_a_folder_that_takes_no_files_is_told(
    job: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert main(["export", job, "-o", "x.csv"]) == 2
    assert capsys.readouterr().err == "x.csv: cannot be written: . allows no new files\n"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["picture", "-o", "p.jpg"], "found 'p.jpg'; allowed is a name that ends in .png"),
        (["loss", "--png", "p"], "found 'p'; allowed is a name that ends in .png"),
        (["view", "--port", "99999"], "found '99999'; allowed is a number from 1 to 65535"),
        (["view", "--port", "0"], "found '0'; allowed is a number from 1 to 65535"),
        (["view", "--port", "٣"], "found '٣'; allowed is a number from 1 to 65535"),
        (["analyze", "--threshold", "nan"], "found 'nan'; allowed is a number from 0 up"),
    ],
)
def test_arguments_that_are_not_allowed(
    job: str, arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as caught:
        main([arguments[0], job, *arguments[1:]])
    assert caught.value.code == 2
    assert message in capsys.readouterr().err


def test_an_unknown_storey_is_told_once(job: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", job, "--storeys", "attic"]) == 2
    assert capsys.readouterr().err == (
        "job.toml: with bedroom on storey attic instead:\n"
        'job.toml:22 storey: there is no storey "attic": known are "ground"\n'
    )


class _Full(io.RawIOBase):
    """A device on which nothing is left."""

    def __init__(self, number: int) -> None:
        self._number = number

    def writable(self) -> bool:
        return True

    def fileno(self) -> int:
        return self._number

    def write(self, data: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_a_full_device(
    job: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with open("behind", "wb") as behind:
        full = io.TextIOWrapper(io.BufferedWriter(_Full(behind.fileno())), encoding="utf-8")
        with monkeypatch.context() as patched:
            patched.setattr(sys, "stdout", full)
            assert main(["check", job]) == 2
        error = "the output cannot be written: no space left on device\n"
        assert capsys.readouterr().err == error
        with pytest.raises(OSError, match="No space"):
            full.close()


@pytest.mark.parametrize("command", ["check", "analyze"])
def test_a_reader_that_has_gone(
    command: str, job: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As `head` does after some lines: nobody wants more, and nothing is wrong."""
    monkeypatch.setenv(VARIABLE, "")
    reader, writer = os.pipe()
    os.close(reader)
    pipe = os.fdopen(writer, "w", encoding="utf-8", buffering=1)
    with monkeypatch.context() as patched:
        patched.setattr(sys, "stdout", pipe)
        assert main([command, job]) == 0
        pipe.close()
    assert "Traceback" not in capsys.readouterr().err


def test_streams_that_are_closed(job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, path, code in (("stdout", job, 0), ("stderr", "nothing.toml", 2)):
        with monkeypatch.context() as patched:
            patched.setattr(sys, name, None)
            assert main(["check", path]) == code
            getattr(sys, name).close()


def test_a_terminal_that_knows_fewer_signs(job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    shown = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(shown, encoding="ascii"))
    assert main(["check", job]) == 0
    assert b"36.3 m?, 7 panels" in shown.getvalue().replace(b"\n", b" ")


def test_a_job_in_feet_is_shown_in_feet(job: str, capsys: pytest.CaptureFixture[str]) -> None:
    text = Path(job).read_text(encoding="utf-8")
    for before, after in (
        ('size = "4.2 m x 3.6 m"', 'size = "14 ft x 12 ft"'),
        ('height = "2.4 m"', 'height = "8 ft"'),
        ('at = "0.6, 1.2, 0.7 m"', 'at = "2 ft, 4 ft, 2 ft"\nsize = "3 ft x 6 ft x 1 ft"'),
    ):
        text = text.replace(before, after)
    Path(job).write_text(text, encoding="utf-8")
    assert main(["check", job]) == 0
    assert "1 344 ft³" in capsys.readouterr().out
    assert main(["analyze", "--detail", job]) == 0
    out = capsys.readouterr().out
    assert " ft²" in out
    assert " m²" not in out.replace("/m²", "")
    assert "worst point at 2 ft 9 in, " in out


def test_ctrl_c_amid_casting_ends_in_one_line(
    job: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """While threads walk rays: what they have begun is finished, nothing else is."""
    monkeypatch.setenv(VARIABLE, "")  # else another test's casts of this room might do
    shares = []

    def interrupted(self: Progress, share: float) -> None:
        shares.append(share)
        if len(shares) == 2:
            signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(Progress, "__call__", interrupted)
    # What starts the tests may have told them to ignore the interrupt.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        assert main(["analyze", job]) == 130
    finally:
        signal.signal(signal.SIGINT, before)
    assert 2 <= len(shares) <= 3
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.split("\n")[-2:] == ["stopped", ""]
    assert "Traceback" not in captured.err
