"""Rooms fitted to open meshes: scans with noise, holes and furniture, planted with known sizes."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from envelope.building.selectors import match
from envelope.cli import main
from envelope.errors import ModelFileError
from envelope.exchange import Imported, read_model

STATED: dict[str, Any] = {"unit": "m", "up": "z"}
HIGH_M = 2.44
NOISE_M = 0.006
RING = ((0.0, 0.0), (4.2, 0.0), (4.2, 2.6), (2.7, 2.6), (2.7, 3.6), (0.0, 3.6))
WINDOW = (1.0, 0.9, 2.5, 2.1)  # along the south wall, and up it
DOOR = (0.2, 0.0, 1.0, 2.03)  # of the short wall that faces west


def plate(
    corner: Sequence[float],
    along: Sequence[float],
    up: Sequence[float],
    holes: Sequence[tuple[float, ...]] = (),
    step: float = 0.06,
) -> Any:
    """A rectangle of small triangles, with holes."""
    start, u, v = (np.array(item, dtype=float) for item in (corner, along, up))
    long, high = np.linalg.norm(u), np.linalg.norm(v)
    n, m = max(int(long / step), 1), max(int(high / step), 1)
    a, b = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, m + 1), indexing="ij")
    spots = start + a.reshape(-1, 1) * u + b.reshape(-1, 1) * v
    faces = []
    for i in range(n):
        for j in range(m):
            x, y = (i + 0.5) / n * long, (j + 0.5) / m * high
            if any(h[0] < x < h[2] and h[1] < y < h[3] for h in holes):
                continue
            k = i * (m + 1) + j
            faces += [(k, k + m + 1, k + m + 2), (k, k + m + 2, k + 1)]
    return trimesh.Trimesh(spots, faces, process=False)


def box(low: Sequence[float], size: Sequence[float]) -> Any:
    made = trimesh.creation.box(size)
    made.apply_translation(np.array(low) + 0.5 * np.array(size))
    for _ in range(3):
        made = made.subdivide()
    return made


def walls(ring: Sequence[tuple[float, float]], holes: dict[int, tuple[float, ...]]) -> list[Any]:
    parts = []
    for k, (one, two) in enumerate(zip(ring, [*ring[1:], ring[0]], strict=True)):
        step = (two[0] - one[0], two[1] - one[1], 0.0)
        parts.append(plate((*one, 0.0), step, (0, 0, HIGH_M), [holes[k]] if k in holes else []))
    return parts


def levels(areas: Sequence[tuple[float, ...]], heights: Sequence[float]) -> list[Any]:
    return [
        plate((x, y, z), (wide, 0, 0), (0, deep, 0)) for x, y, wide, deep in areas for z in heights
    ]


def scanned(parts: list[Any], turn: float = 0.4, noise_m: float = NOISE_M) -> Any:
    mesh = trimesh.util.concatenate(parts)
    mesh.merge_vertices(digits_vertex=5)
    rng = np.random.default_rng(7)
    mesh.vertices = mesh.vertices + rng.normal(0.0, noise_m, mesh.vertices.shape)
    mesh.apply_transform(trimesh.transformations.rotation_matrix(turn, (0, 0, 1)))
    return mesh


@pytest.fixture(scope="module")
def bedroom_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An L-shaped bedroom with a window, a doorway, a bed, and a wardrobe 5 cm off its wall."""
    parts = walls(RING, {0: WINDOW, 3: DOOR})
    parts += levels([(0, 0, 2.7, 3.6), (2.7, 0, 1.5, 2.6)], (0.0, HIGH_M))
    parts += [box((0.05, 1.0, 0.0), (1.4, 2.0, 0.5)), box((3.6, 1.0, 0.0), (0.55, 1.2, 2.0))]
    path = tmp_path_factory.mktemp("scan") / "bedroom.ply"
    scanned(parts).export(path)
    return path


@pytest.fixture(scope="module")
def bedroom(bedroom_file: Path) -> Imported:
    return read_model(bedroom_file, fit=True, **STATED)


def test_the_room_has_the_size_that_was_planted(bedroom: Imported) -> None:
    (room,) = bedroom.spaces
    plan_m2 = 4.2 * 3.6 - 1.5 * 1.0
    assert room.volume_m3 == pytest.approx(plan_m2 * HIGH_M, rel=2e-3)
    by_kind = {kind: [p for p in room.panels if p.kind == kind] for kind in ("wall", "open")}
    assert len(by_kind["wall"]) == 6
    assert [panel.area_m2 for panel in room.panels if panel.kind in ("floor", "ceiling")] == (
        pytest.approx([plan_m2] * 2, rel=2e-3)
    )


def test_window_and_doorway_are_left_open_where_they_are(bedroom: Imported) -> None:
    (room,) = bedroom.spaces
    holes = [panel for panel in room.panels if panel.kind == "open"]
    holes.sort(key=lambda panel: float(panel.outline[:, 2].min()))
    assert len(holes) == 2
    for panel, (low, sill, high, head) in zip(holes, (DOOR, WINDOW), strict=True):
        wide = np.linalg.norm(np.ptp(panel.outline[:, :2], axis=0))
        assert wide == pytest.approx(high - low, abs=0.13)  # the mesh is 6 cm coarse
        assert panel.outline[:, 2].min() == pytest.approx(sill, abs=0.07)
        assert panel.outline[:, 2].max() == pytest.approx(head, abs=0.07)
    said = [note.message for note in bedroom.noted("gap")]
    assert all("a window, a doorway, or a part that was not scanned" in each for each in said)


def test_the_deviation_is_that_of_the_noise(bedroom: Imported) -> None:
    assert bedroom.fit is not None
    offsets = bedroom.fit.offsets
    assert set(offsets) == {p.id for p in bedroom.spaces[0].panels if p.kind != "open"}
    # points within triangles are means of three corners: their noise is NOISE_M / sqrt(2)
    expected = NOISE_M / np.sqrt(2.0)
    assert offsets["room-1/floor"].mean_m == pytest.approx(expected, rel=0.15)
    assert offsets["room-1/floor"].most_m == pytest.approx(1.96 * expected, rel=0.15)
    assert offsets["room-1/floor"].beyond == 0.0
    worst = max(offsets.values(), key=lambda each: each.beyond)
    assert worst.beyond > 0.1  # the back of the wardrobe is taken for the wall's surface, and told
    assert bedroom.fit.elsewhere == pytest.approx(0.13, abs=0.04)  # bed and wardrobe
    assert len(bedroom.fit.lines_m) > 100


def test_nothing_is_built_of_it_unasked(bedroom_file: Path) -> None:
    with pytest.raises(ModelFileError, match=r"--fit fits closed rooms") as caught:
        read_model(bedroom_file, **STATED)
    assert "stands inside an open surface: furniture, not a space" in str(caught.value)


def test_a_partition_with_a_doorway_parts_two_rooms(tmp_path: Path) -> None:
    parts = walls(((0, 0), (3.0, 0), (3.0, 3.5), (0, 3.5)), {1: (1.2, 0.0, 2.1, 2.05)})
    parts += walls(((3.12, 0), (5.9, 0), (5.9, 3.5), (3.12, 3.5)), {3: (1.4, 0.0, 2.3, 2.05)})
    parts += levels([(0, 0, 3.0, 3.5), (3.12, 0, 2.78, 3.5)], (0.0, HIGH_M))
    path = tmp_path / "two.ply"
    scanned(parts, turn=1.1).export(path)
    found = read_model(path, fit=True, **STATED)
    areas = [max(p.area_m2 for p in room.panels if p.kind == "floor") for room in found.spaces]
    assert areas == pytest.approx([3.0 * 3.5, 2.78 * 3.5], rel=5e-3)
    assert [sum(p.kind == "open" for p in room.panels) for room in found.spaces] == [1, 1]


def test_without_a_ceiling_the_tops_of_the_walls_stand_for_it(tmp_path: Path) -> None:
    parts = walls(((0, 0), (4.0, 0), (4.0, 3.0), (0, 3.0)), {})
    path = tmp_path / "open.stl"
    scanned([*parts, *levels([(0, 0, 4.0, 3.0)], (0.0,))], turn=0.0).export(path)
    found = read_model(path, fit=True, **STATED)
    (room,) = found.spaces
    assert [panel.kind for panel in room.panels if panel.normal[2] < -0.9] == ["open"]
    assert room.volume_m3 == pytest.approx(4.0 * 3.0 * HIGH_M, rel=0.02)
    assert any("no ceiling in the model" in note.message for note in found.notes)


def test_what_furniture_hides_counts_as_going_on_and_is_told(tmp_path: Path) -> None:
    behind = (1.0, 0.0, 2.2, 2.0)  # the wall is not seen behind a cupboard
    parts = walls(((0, 0), (4.0, 0), (4.0, 3.0), (0, 3.0)), {0: behind})
    parts += [*levels([(0, 0, 4.0, 3.0)], (0.0, HIGH_M)), box((0.95, 0.2, 0.0), (1.3, 0.5, 2.02))]
    path = tmp_path / "hidden.ply"
    scanned(parts).export(path)
    found = read_model(path, fit=True, **STATED)
    assert not [p for p in found.spaces[0].panels if p.kind == "open"]
    (said,) = [note.message for note in found.noted("guessed") if "hidden" in note.message]
    assert 2.0 < float(said.partition("\N{NO-BREAK SPACE}")[0]) < 3.2


def test_a_round_wall_comes_as_strips_with_one_name(tmp_path: Path) -> None:
    radius, strips = 2.0, 48
    turns = np.linspace(0.0, np.pi, strips + 1)
    arc = [(radius * np.cos(t), radius * np.sin(t)) for t in turns]
    ring = [*arc, (-radius, -2.0), (radius, -2.0)]
    parts = []
    for one, two in zip(ring, [*ring[1:], ring[0]], strict=True):
        parts.append(plate((*one, 0), (two[0] - one[0], two[1] - one[1], 0), (0, 0, HIGH_M)))
    xs = np.linspace(-radius, radius, 60)
    for x0, x1 in pairwise(xs.tolist()):
        reach = np.sqrt(max(radius**2 - (0.5 * (x0 + x1)) ** 2, 0.0)) + 2.0
        parts += levels([(x0, -2.0, x1 - x0, reach)], (0.0, HIGH_M))
    path = tmp_path / "round.ply"
    scanned(parts, turn=0.0, noise_m=0.003).export(path)
    found = read_model(path, fit=True, **STATED)
    (room,) = found.spaces
    true_m2 = 0.5 * np.pi * radius**2 + 2.0 * radius * 2.0
    assert room.volume_m3 == pytest.approx(true_m2 * HIGH_M, rel=0.015)
    named = match(list(room.panels), "room-1/round-wall")
    assert 8 <= len(named) <= 16
    area = sum(panel.area_m2 for panel in room.panels if panel.id in set(named))
    # what turns by less than 15° at either end lies within 2 cm of the flat wall it runs out into,
    # and belongs to that
    assert 150.0 / 180.0 < area / (np.pi * radius * HIGH_M) < 1.0


def test_other_formats_refuse_it(tmp_path: Path) -> None:
    path = tmp_path / "a.ifc"
    path.write_text("ISO-10303-21;")
    with pytest.raises(ModelFileError, match="fitted to meshes alone"):
        read_model(path, fit=True)


def test_what_has_no_room_is_refused_in_words(tmp_path: Path) -> None:
    path = tmp_path / "plate.ply"
    trimesh.util.concatenate(levels([(0, 0, 4.0, 3.0)], (0.0,))).export(path)
    with pytest.raises(ModelFileError, match=r"no room could be fitted|no level surface"):
        read_model(path, fit=True, **STATED)


def test_the_command_prints_the_deviation_and_writes_a_job_that_keeps_it(
    bedroom_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setenv("COLUMNS", "120")
    job = tmp_path / "job.toml"
    asked = ["import", str(bedroom_file), "--unit", "m", "--up", "z", "--fit", "-o", str(job)]
    assert main(asked) == 0
    said = capsys.readouterr().out
    assert "mean off it" in said
    assert "room-1/floor" in said
    assert "\nfit = true" in job.read_text()
    assert main(["check", str(job)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "2 openings" in said
    assert "open: room-1 was fitted to its surfaces" in said
    # nothing is advised of a room that nobody has looked at
    assert main(["decide", str(job)]) == 1
    assert "room-1 was fitted to its surfaces" in " ".join(capsys.readouterr().out.split())
    job.write_text(job.read_text().replace("fit = true", 'accept = ["rooms"]\nfit = true'))
    assert main(["check", str(job)]) == 0
    assert "was fitted" not in capsys.readouterr().out
