"""The picture of an import: what is numbered, where the numbers stand, and what the list says."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import viewer.pictures.import_picture as module
from envelope.cli import main
from envelope.errors import EnvelopeError
from envelope.exchange import Note, model_edges, read_model
from viewer.pictures.import_picture import draw_import, marks_of

# A room of 4 × 3 × 2.5 m: its north wall is one face, its ceiling an L that leaves 4 m² open.
# The L's corner at (0, 1) stands on an edge of the west wall: a T-junction.
CORNERS = """
v 0 0 0
v 4 0 0
v 4 3 0
v 0 3 0
v 0 0 2.5
v 4 0 2.5
v 4 3 2.5
v 0 3 2.5
v 4 1 2.5
v 0 1 2.5
v 2 1 2.5
v 2 3 2.5
"""
FACES = "o den\nf 1 4 3 2\nf 1 2 6 5\nf 2 3 7 6\nf 3 4 8 7\nf 4 1 5 8\n"
HOLED = CORNERS + FACES + "f 5 6 9 10\nf 10 11 12 8\n"
BENT = CORNERS + "o den\nf 1 4 3 2\nf 2 3 7 6\nf 3 4 8 7\nf 4 1 5 8\n"  # no south wall, no ceiling


def drawn(path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """The figure of the picture of a model."""
    from matplotlib.figure import Figure

    kept: list[Figure] = []
    monkeypatch.setattr(module, "write_atomically", lambda path, content: None)
    save = Figure.savefig

    def keep(figure: Figure, *arguments: Any, **more: Any) -> None:
        kept.append(figure)
        save(figure, *arguments, **more)

    monkeypatch.setattr(Figure, "savefig", keep)
    found = read_model(path, unit="m", up="z")
    draw_import(
        edges_m=model_edges(path, unit="m", up="z"),
        panels=[panel for space in found.spaces for panel in space.panels],
        notes=found.notes,
        title="$den$",
        path=Path("where.png"),
    )
    return kept[0]


def test_numbers_stand_at_the_hole_and_the_t_junction(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "den.obj"
    path.write_text(HOLED)
    figure = drawn(path, monkeypatch)
    (axes,) = figure.axes
    listed = [text.get_text() for text in figure.texts]
    assert "$den$" in listed
    assert any(line.startswith("1  left open: den/") and "4 m²" in line for line in listed)
    assert any(line.startswith("2  repaired: ") and "T-junction" in line for line in listed)
    marks = {text.get_text(): text for text in axes.texts}
    assert set(marks) == {"1", "2"}
    hole = module._pixels(axes, np.array([[3.0, 2.0, 2.5]]))[0]
    assert marks["1"].xy == pytest.approx(hole, abs=0.5)
    dots = [np.array(each._offsets3d).T for each in axes.collections if hasattr(each, "_offsets3d")]
    assert dots[0] == pytest.approx(np.array([[3.0, 2.0, 2.5]]))
    assert any(np.allclose(spot, (0.0, 1.0, 2.5)) for spot in dots[1])
    corners = module._pixels(
        axes, np.array([(x, y, z) for x in (0, 4) for y in (0, 3) for z in (0, 2.5)], dtype=float)
    )
    low, high = axes.bbox.min, axes.bbox.max
    assert np.all(corners > low)
    assert np.all(corners < high)
    assert max(np.ptp(corners, axis=0) / axes.bbox.size) == pytest.approx(0.9, abs=0.01)


def test_edges_are_those_that_fold_or_end(tmp_path: Path) -> None:
    path = tmp_path / "den.obj"
    path.write_text(BENT)
    edges = {
        tuple(sorted(map(tuple, edge.tolist()))) for edge in model_edges(path, unit="m", up="z")
    }
    assert len(edges) == 12 - 1  # of a box but the upper edge of the south wall
    assert ((0.0, 0.0, 2.5), (4.0, 0.0, 2.5)) not in edges
    path.write_text(CORNERS + "f 1 2 3\nf 1 3 4\n")  # a flat floor of two triangles
    assert len(model_edges(path, unit="m", up="z")) == 4


def test_the_list_is_ranked_and_ends() -> None:
    notes = [
        Note(kind="remark", subject="", message="a"),
        Note(kind="repaired", subject="", message="b", position_m=(0.0, 0.0, 0.0)),
        Note(kind="refused", subject="x", message="c"),
        Note(kind="refused", subject="y", message="d", position_m=(1.0, 0.0, 0.0)),
    ]
    marks, more = marks_of(notes)
    assert [mark.text for mark in marks] == [
        "1  refused: y: d",
        "–  refused: x: c",
        "2  repaired: b",
        "–  remarked: a",
    ]
    assert more == 0
    assert marks_of(notes * 10)[1] == 20


def test_the_command_draws_what_was_refused_and_still_refuses(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("bent.obj").write_text(BENT)
    Path("den.obj").write_text(HOLED)
    asked = ["--unit", "m", "--up", "z", "--picture"]
    assert main(["import", "bent.obj", *asked, "refused.png"]) == 2
    said = capsys.readouterr()
    assert "wrote refused.png: where the model was refused" in said.out
    assert "no closed space was found" in said.err
    assert main(["import", "den.obj", *asked, "where.png"]) == 0
    for name in ("refused.png", "where.png"):
        assert Path(name).read_bytes().startswith(b"\x89PNG")
    assert main(["import", "den.obj", *asked[:4], "-o", "den.toml"]) == 0
    assert main(["import", "den.toml", "--dry-run", "--picture", "job.png"]) == 0
    assert Path("job.png").read_bytes().startswith(b"\x89PNG")
    assert main(["import", "gone.obj", *asked, "none.png"]) == 2
    assert not Path("none.png").exists()
    assert [path.name for path in tmp_path.glob("*.toml")] == ["den.toml"]


def test_a_picture_without_notes_says_so_and_other_names_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "none.png"
    draw_import(edges_m=np.zeros((0, 2, 3)), panels=(), notes=(), title="", path=path)
    assert path.stat().st_size > 1000
    with pytest.raises(EnvelopeError, match=r"ends in \.png"):
        draw_import(edges_m=np.zeros((0, 2, 3)), panels=(), notes=(), title="", path=Path("a.svg"))
