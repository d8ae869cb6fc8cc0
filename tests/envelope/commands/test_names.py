"""What commands print names things as the client does; `check` says which ids to type."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from envelope.cli import main

IDS = ("sp-1", "w-1", "t-1", "t-2", "src-1", "rec-1", "pl-1", "pl-2")
JOB = """
format = 1
name = "Elm Yard, front bedroom (invented)"
[construction]
exterior-wall = "timber-wall"
slab = "ground-slab"
roof = "ceiling-and-tiled-roof"
window = "double-glazing"
[[storey]]
id = "ground"
floor = "0 ft"
[[space]]
id = "sp-1"
title = "front bedroom"
storey = "ground"
size = "12 ft x 10 ft"
height = "8 ft"
[[opening]]
id = "w-1"
title = "street window"
on = "sp-1/south"
kind = "window"
at = "3 ft"
sill = "3 ft"
size = "4 ft x 4 ft"
[[treatment]]
id = "t-1"
title = "grey paint"
kind = "sheet"
sheet-resistance = "6 ohm/sq"
[[treatment]]
id = "t-2"
title = "clear film"
kind = "sheet"
sheet-resistance = "9 ohm/sq"
[[source]]
id = "src-1"
title = "tower on the ridge"
azimuth = "171 deg"
elevation = "3 deg"
service = "LTE 1800"
level = "640 uW/m2"
[[receiver]]
id = "rec-1"
title = "Tom's pillow"
space = "sp-1"
at = "3 ft, 4 ft, 2 ft"
[[plan]]
id = "pl-1"
title = "Walls first"
treat = [{ on = "sp-1/walls", with = "t-1" }]
[[plan]]
id = "pl-2"
title = "Walls and window"
extends = "pl-1"
treat = [{ on = "sp-1/w-1", with = "t-2" }]
"""


@pytest.mark.parametrize(
    ("asked", "titles"),
    [
        (["analyze"], ("Tom's pillow", "Walls and window", "tower on the ridge", "grey paint")),
        (["compare"], ("Tom's pillow", "Walls first", "grey paint", "street window")),
        (["takeoff", "--plan", "pl-2"], ("Walls and window", "clear film", "front bedroom")),
        (["bond", "--plan", "pl-2"], ("Walls and window", "clear film", "front bedroom")),
        (["workorder", "--plan", "pl-2"], ("Walls and window", "front bedroom")),
    ],
    ids=lambda each: each[0] if isinstance(each, list) else None,
)
def test_titles_stand_in_place_of_ids(
    asked: list[str],
    titles: tuple[str, ...],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    path = tmp_path / "job.toml"
    path.write_text(JOB)
    assert main([asked[0], str(path), *asked[1:]]) in (0, 1)  # 1: a conductor has no bond
    out = capsys.readouterr().out
    assert [title for title in titles if title not in out] == []
    assert [name for name in IDS if re.search(rf"(?<![\w-]){name}(?![\w-])", out)] == []


def test_check_says_which_id_is_typed_for_a_title(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "300")
    path = tmp_path / "job.toml"
    path.write_text(JOB)
    assert main(["check", str(path)]) == 0
    out = capsys.readouterr().out
    assert "pl-1 = Walls first" in out
    assert "src-1 = tower on the ridge" in out
