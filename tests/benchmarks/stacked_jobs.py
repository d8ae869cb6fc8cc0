"""Jobs piled high: thousands of tables, endless names, numbers at the edges of what is allowed.

    python tests/benchmarks/stacked_jobs.py [NAME ...]

Each goes through `check` and `analyze` as typed, with few rays. Told is what came of it, the first
line of what was said, and the time of the processor. A traceback, a code other than 0, 1 or 2, an
"internal error", more than `MOST_LINES` lines of faults, a line above `LONGEST` characters, or more
time than `MOST_SECONDS` is a fault.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable
from pathlib import Path

from fuzz import OverTimeError, lightly, time_limit
from mutations import ROOT, TINY

if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from envelope import cli

MOST_SECONDS = 60.0
MOST_LINES = 101  # a hundred faults, and how many more there are
LONGEST = 1000
COMMANDS = ("check", "analyze")


def _block(header: str, number: int = 0) -> str:
    """A table of the small job, as text."""
    return re.findall(rf"(?ms)^\[\[{header}\]\]\n.*?(?=^\[|\Z)", TINY)[number]


def _many(header: str, count: int, *, number: int = 0, same: bool = False) -> str:
    """The job with a table many times, each under another id, or all under one."""
    block = _block(header, number)
    name = re.search(r'(?m)^id = "(.*)"', block)
    assert name is not None
    copies = [
        block if same else block.replace(f'id = "{name[1]}"', f'id = "{name[1]}-{k}"')
        for k in range(count)
    ]
    return TINY + "".join(copies)


def _renamed(old: str, new: str) -> str:
    return TINY.replace(f'"{old}"', f'"{new}"').replace(f'"{old}/', f'"{new}/')


def _chain(count: int) -> str:
    plans = [f'[[plan]]\nid = "p{k}"\nextends = "p{k + 1}"\n' for k in range(count)]
    return TINY + "".join(plans) + f'[[plan]]\nid = "p{count}"\nextends = "walls"\n'


def _readings(count: int) -> str:
    reading = (
        '[[reading]]\nid = "r{0}"\nsource = "mast"\nspace = "loft"\nat = "{1} m, {2} m, 1 m"\n'
        'level = "{3} uW/m2"\n'
    )
    text = TINY.replace('level = { up = "0.6 V/m" }\n', "")
    return text + "".join(
        reading.format(k, 0.3 + 0.01 * (k % 100), 0.3 + 0.05 * (k % 30), 50 + k % 60)
        for k in range(count)
    )


def _rooms(count: int) -> str:
    room = (
        '[[space]]\nid = "cell-{0}"\nstorey = "up"\norigin = "{1}, {2} m"\nsize = "2 m x 2 m"\n'
        'height = "2 m"\n'
    )
    return TINY + "".join(
        room.format(k, 40 + 2.1 * (k % 40), 2.1 * (k // 40)) for k in range(count)
    )


def _windows(count: int) -> str:
    window = (
        '[[opening]]\nid = "v{0}"\non = "loft/2"\nkind = "window"\nat = "{1} mm"\nsill = "{2} mm"\n'
        'size = "20 mm x 20 mm"\n'
    )
    return TINY + "".join(
        window.format(k, 30 + 25 * (k % 90), 30 + 25 * (k // 90)) for k in range(count)
    )


def _edges() -> str:
    """Every number where its range ends, as far as one job can have them."""
    text = TINY
    for old, new in (
        ("permittivity = 3.1", "permittivity = 1"),
        ("loss-tangent = 0.03", "loss-tangent = 0"),
        ('sheet-resistance = "5 ohm/sq"', 'sheet-resistance = "1e-9 ohm/sq"'),
        ('loss = "30 dB"', 'loss = "0 dB"'),
        ('elevation = "4 deg"', 'elevation = "90 deg"'),
        ('reveal = "100 mm"', 'reveal = "0.1 mm"'),
        ('eirp = "20 dBm"', 'eirp = "-200 dBm"'),
        ('azimuth = "231 deg"', 'azimuth = "360 deg"'),
    ):
        assert old in text, old
        text = text.replace(old, new)
    return text


CASES: dict[str, Callable[[], str]] = {
    "3,000 materials": lambda: _many("material", 3000),
    "3,000 assemblies": lambda: _many("assembly", 3000),
    "3,000 treatments": lambda: _many("treatment", 3000),
    "3,000 tables of one id": lambda: _many("assembly", 3000, same=True),
    "3,000 rooms in one place": lambda: _many("space", 3000),
    "3,000 rooms of one id": lambda: _many("space", 3000, same=True),
    "600 rooms": lambda: _rooms(600),
    "2,000 windows in one place": lambda: _many("opening", 2000),
    "600 windows in one wall": lambda: _windows(600),
    "2,000 obstacles": lambda: _many("obstacle", 2000),
    "190 obstacles": lambda: _many("obstacle", 190),
    "190 sources": lambda: _many("source", 190),
    "190 transmitters": lambda: _many("source", 190, number=1),
    "190 beds": lambda: _many("receiver", 190),
    "190 plans": lambda: _many("plan", 190),
    "a chain of 190 plans": lambda: _chain(190),
    "190 readings": lambda: _readings(190),
    "480 rooms": lambda: _rooms(480),
    "400 sources": lambda: _many("source", 400),
    "400 transmitters": lambda: _many("source", 400, number=1),
    "200 receivers": lambda: _many("receiver", 200),
    "300 plans": lambda: _many("plan", 300),
    "3,000 plans of one id": lambda: _many("plan", 3000, same=True),
    "a chain of 1,500 plans": lambda: _chain(1500),
    "a plan that extends itself": lambda: TINY.replace('extends = "walls"', 'extends = "all"'),
    "1,000 readings": lambda: _readings(1000),
    "a room's name of 10,000 signs": lambda: _renamed("loft", "x" * 10_000),
    "a plan's name of 10,000 signs": lambda: _renamed("walls", "y" * 10_000),
    "a job's name of 100,000 signs": lambda: TINY.replace("Two rooms", "z" * 100_000),
    "a source's name of 10,000 signs": lambda: _renamed("mast", "m" * 10_000),
    "names of other scripts": lambda: _renamed("loft", "屋根裏-чердак-علية-🏠"),
    "names that look alike": lambda: _renamed("store", "lοft"),
    "a name with marks that turn": lambda: _renamed("loft", "a\u202eb\u0301\u0301\u0301"),
    "a wall of 2,000 layers": lambda: TINY.replace(
        "layers = [", "layers = [" + '{ material = "strand-board", thickness = "1 mm" }, ' * 2000
    ),
    "a footprint of 3,000 corners": lambda: TINY.replace(
        'footprint = "0,0  3,0  3,4  0,4 m"',
        'footprint = "0,0  3,0  '
        + "  ".join(f"{3 + 0.001 * (k % 2)},{4 * k / 3000:.4f}" for k in range(1, 3000))
        + '  0,4 m"',
    ),
    "a plan of 3,000 lines": lambda: TINY.replace(
        'treat = [{ on = "*/ceiling*", with = "paint" }]',
        "treat = [" + '{ on = "*/wall*", with = "paint" }, ' * 3000 + "]",
    ),
    "numbers at their edges": _edges,
    "a room of a kilometre": lambda: TINY.replace(
        "0,0  3,0  3,4  0,4 m", "0,0  900,0  900,900  0,900 m"
    ),
    "a file of a megabyte": lambda: TINY + "# x\n" * 240_000,
    "a file above a megabyte": lambda: TINY + "# x\n" * 300_000,
}


def outcome(command: str, text: str) -> tuple[str, float, list[str]]:
    """What came of a command: told in a line, time [s] of the processor, and what is wrong."""
    shown, told = io.StringIO(), io.StringIO()
    here, code, wrong = os.getcwd(), -1, []
    start = time.process_time()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        try:
            Path("job.toml").write_text(text, encoding="utf-8")
            with (
                contextlib.redirect_stdout(shown),
                contextlib.redirect_stderr(told),
                warnings.catch_warnings(),
                time_limit(2.0 * MOST_SECONDS),
            ):
                warnings.simplefilter("error")
                code = cli.main([command, "job.toml"])
        except OverTimeError:
            wrong.append("stopped after twice the time")
        except (Exception, SystemExit):  # noqa: BLE001
            wrong.append("".join(traceback.format_exc(limit=-2)))
        finally:
            os.chdir(here)
    seconds = time.process_time() - start
    lines = [line for line in re.split(r"[\r\n]", told.getvalue()) if line]
    lines = [line for line in lines if "casting" not in line]
    if code not in (0, 1, 2) and not wrong:
        wrong.append(f"exit {code}")
    if code == 2 and not lines:
        wrong.append("refused in silence")
    if "internal error" in told.getvalue():
        wrong.append("internal error")
    if len(lines) > MOST_LINES:
        wrong.append(f"{len(lines)} lines of faults")
    longest = max(map(len, lines), default=0)
    if longest > LONGEST:
        wrong.append(f"a line of {longest} characters")
    if seconds > MOST_SECONDS:
        wrong.append("slow")
    first = lines[0] if lines else shown.getvalue().split("\n")[0]
    return f"exit {code}, {len(lines)} lines, first: {first[:90]}", seconds, wrong


def main() -> int:
    """Run the cases whose names hold a word given, or all; 1 where any has a fault."""
    lightly()
    asked = sys.argv[1:]
    faults = 0
    for name, make in CASES.items():
        if asked and not any(word in name for word in asked):
            continue
        text = make()
        for command in COMMANDS:
            said, seconds, wrong = outcome(command, text)
            faults += len(wrong)
            sys.stdout.write(f"{name}: {command}: {seconds:.1f} s, {said}\n")
            for each in wrong:
                sys.stdout.write(f"    FAULT: {each}\n")
            sys.stdout.flush()
            if said.startswith("exit 2"):
                break
    sys.stdout.write(f"{faults} faults\n")
    return 1 if faults else 0


if __name__ == "__main__":
    raise SystemExit(main())
