"""Tables at any width: nothing is broken inside a word, nothing is lost, no line is too wide."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from envelope.commands.layout import open_console, plain_table

HEADINGS = (
    "plan",
    ">unshielded (below 20 dB)",
    ">kitchen-router",
    ">10–90 % band",
    "leakiest face",
)
ROWS = (
    ("as-built", "9.497 sr", "271", "69.7 – 1\u00a0252", "bedroom/ceiling 46 %"),
    ("walls-and-windows", "0.000468 sr", "< 0.001", "212 – 2\u00a0717", "bedroom/6 60 %, no gap"),
)


def printed(width: int, *, rows=ROWS, headings=HEADINGS, title: str | None = None) -> list[str]:
    out = io.StringIO()
    table = plain_table(*headings, title=title)
    for row in rows:
        table.add_row(*row)
    Console(width=width, file=out, highlight=False).print(table)
    return out.getvalue().splitlines()


@pytest.mark.parametrize("width", range(48, 140, 4))
def test_no_cell_is_broken_and_no_line_too_wide(width):
    lines = printed(width)
    assert max(map(len, lines)) <= width
    for row in ROWS:
        for cell in row:
            assert any(cell.replace("\u00a0", " ") in line for line in lines), cell
    words = {word for line in lines for word in line.split(" ")}
    assert {"unshielded", "kitchen-router", "band", "leakiest", "face"} <= words


def test_what_does_not_fit_stands_below_with_the_plan_again():
    lines = printed(60)
    begun = [line.split()[0] for line in lines if line.startswith(("as-built", "walls-and"))]
    assert begun == ["as-built", "walls-and-windows"] * 2
    assert lines.count("") == 1


def test_wide_enough_a_table_is_one_with_each_heading_on_one_line():
    lines = printed(120)
    assert len(lines) == 1 + len(ROWS)
    assert "unshielded (below 20 dB)" in lines[0]
    assert not any(line.endswith(" ") for line in lines)


def test_numbers_stand_to_the_right_and_names_to_the_left():
    _, first, second = printed(120)
    assert first.index("9.497 sr") + len("9.497 sr") == second.index("0.000468 sr") + 11
    assert first.index("bedroom/ceiling") == second.index("bedroom/6")


def test_a_long_text_is_broken_between_words_before_columns_move():
    reason = "its shell is not closed: three faces are missing near the north wall of the room"
    lines = printed(80, headings=("space", "cannot be imported"), rows=(("attic", reason),))
    assert len(lines) == 3
    assert " ".join(" ".join(lines[1:]).split()) == f"attic {reason}"


def test_a_name_wider_than_the_terminal_loses_nothing():
    lines = printed(60, headings=("plan", ">level"), rows=(("x" * 150, "5.22"),))
    assert max(map(len, lines)) <= 60
    assert sum(line.count("x") for line in lines) == 150
    assert "5.22" in "\n".join(lines)


def test_markup_is_read_and_what_is_escaped_stands_as_it_is():
    lines = printed(60, headings=("plan",), rows=((r"\[red]loud",),), title="[bold]levels[/bold]")
    assert lines[0] == "levels"
    assert lines[-1] == "[red]loud"


@pytest.mark.parametrize("width", range(60, 80))
def test_no_sentence_breaks_a_number_off_its_unit(
    width: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    monkeypatch.setenv("COLUMNS", str(width))
    said = ("1\u00a0252\u00a0µW/m²", "31.6\u00a0m²", "<\u00a00.001\u00a0sr", "1.843\u00a0GHz")
    open_console().print(f"[bold]{' and then '.join(said * 3)}[/bold]")
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 1
    whole = [words.replace("\u00a0", " ") for words in said]
    assert sum(line.count(words) for words in whole for line in lines) == 3 * len(said)
