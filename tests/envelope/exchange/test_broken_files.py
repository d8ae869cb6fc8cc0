"""Broken files that once ended in a traceback, as `tests/benchmarks/fuzz_models.py` found them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

from envelope.errors import ModelFileError
from envelope.exchange import read_model
from envelope.exchange.mesh.imprint import _through
from envelope.exchange.mesh.soup import Soup
from envelope.exchange.mesh.volumes import _directions, _folded, edges_of
from envelope.geometry.plane import frame_of


@pytest.mark.parametrize("line", ["property", "property list uchar", "property list uchar int"])
def test_a_ply_property_cut_short(tmp_path: Path, line: str) -> None:
    path = tmp_path / "a.ply"
    header = f"ply\nformat ascii 1.0\nelement face 1\n{line}\nend_header\n3 0 1 2\n"
    path.write_bytes(header.encode())
    with pytest.raises(ModelFileError, match="its header has a property that is not known"):
        read_model(path, unit="m", up="z")


def test_a_face_without_area_has_no_direction_and_no_warning() -> None:
    """Warnings are errors in tests: a division by a length of nothing would end this one."""
    found = _directions(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 2.0]]))
    assert found.tolist() == [[0.0, 0.0, 0.0], [0.0, 0.0, 1.0]]


def test_an_outline_that_crosses_itself_is_cut_by_no_line() -> None:
    """A face that its neighbour's plane would cut: GEOS raises on one that is not valid."""
    level = frame_of(np.array([[0, 0, 0], [2, 0, 0], [2, 2, 0], [0, 2, 0]], dtype=float))
    upright = frame_of(np.array([[1, 0, 0], [1, 2, 0], [1, 2, 2], [1, 0, 2]], dtype=float))
    sound = shapely.box(0.0, 0.0, 2.0, 2.0)
    assert len(_through(upright, level, sound)) == 1
    bow = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    assert _through(upright, level, bow) == []


def test_two_faces_that_meet_in_a_point_taken_twice_are_not_folded_there() -> None:
    points = np.array([[0, 0, 0], [0, 0, 0], [1, 0, 0], [0, 1, 0]], dtype=float)
    soup = Soup(
        points=points,
        corners=np.array([0, 1, 2, 1, 0, 3]),
        start=np.array([0, 3, 6]),
        label=np.zeros(2, dtype=np.int64),
        labels=(),
    )
    assert _folded(soup, edges_of(soup)).tolist() == []
