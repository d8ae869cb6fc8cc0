"""Whatever a project file says, reading it ends in a job or in one error of plain lines.

A few hundred of the broken files that `tests/benchmarks/fuzz.py` makes; the long run is there.
"""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

import fuzz
import mutations

from envelope.errors import Fault, ProjectFileError

FILES = 300


def test_samples_are_sound() -> None:
    for sample in mutations.samples():
        outcome = fuzz.examine(sample.encode())
        assert outcome.finding is None
        assert not outcome.refused


def test_broken_files_are_read_or_refused_in_one_sentence_each() -> None:
    refused = 0
    for number in range(FILES):
        outcome = fuzz.examine(mutations.mutated(number))
        assert outcome.finding is None, (number, outcome.finding)
        refused += outcome.refused
    assert FILES // 2 < refused < FILES  # most are broken, and some are read to the end


def test_what_can_be_read_goes_through_the_analysis_or_is_refused_in_a_sentence() -> None:
    """Two that are read to the end; `fuzz.py --analyze` runs thousands."""
    numbers = iter(range(FILES))
    sound = (each for each in numbers if not fuzz.examine(mutations.mutated(each)).refused)
    for number in itertools.islice(sound, 2):
        outcome = fuzz.examine(mutations.mutated(number), through_analysis=True)
        assert outcome.finding is None, (number, outcome.finding)
        assert outcome.analyzed


def test_a_number_makes_the_same_file_every_time() -> None:
    assert mutations.mutated(17) == mutations.mutated(17)
    assert len({mutations.mutated(number) for number in range(50)}) == 50


def test_a_fault_in_the_reader_is_found_and_cut_down(monkeypatch: pytest.MonkeyPatch) -> None:
    """The search sees what it is for: an exception of another kind, and the line that caused it."""

    def careless(text: str, *, path: str) -> None:
        if "coats" in text:
            raise KeyError("coats")

    monkeypatch.setattr(fuzz, "load_text", careless)
    data = mutations.TINY.encode()
    finding = fuzz.examine(data).finding
    assert finding is not None
    assert finding.kind == "exception"
    assert "KeyError" in finding.detail
    assert fuzz.reduced(data, finding.where) == b"coats = 2"


@pytest.mark.parametrize("message", ["a\x1b[31m", "a\nb", "x" * 1000])
def test_a_message_that_is_no_plain_line_is_found(
    monkeypatch: pytest.MonkeyPatch, message: str
) -> None:
    def rude(text: str, *, path: str) -> None:
        raise ProjectFileError([Fault(message=message)])

    monkeypatch.setattr(fuzz, "load_text", rude)
    finding = fuzz.examine(b"format = 1").finding
    assert finding is not None
    assert finding.kind == "message"


def test_a_slow_file_is_found() -> None:
    finding = fuzz.examine(mutations.TINY.encode(), most_seconds=0.0).finding
    assert finding is not None
    assert finding.kind == "slow"
