"""Lists of thousands of parts are summed up; sizes that no house has are questioned."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.commands.import_tables import MOST_LISTED, MOST_PARTS, print_listing
from envelope.errors import ModelFileError
from envelope.exchange import ListedSpace, Listing, read_model, to_stl


def listed(number: int, trouble: str = "") -> ListedSpace:
    return ListedSpace(
        id=f"p{number}", name="", storey="", area_m2=1.0, volume_m3=1.0, trouble=trouble
    )


def shown(spaces: list[ListedSpace], capsys: pytest.CaptureFixture[str]) -> str:
    print_listing(Listing(source="a", format="OBJ", storeys=(), spaces=tuple(spaces)))
    return capsys.readouterr().out


def test_thousands_of_parts_are_summed_up(capsys: pytest.CaptureFixture[str]) -> None:
    parts = [listed(0), *(listed(n, "too thin" if n % 2 else "too small") for n in range(1, 5001))]
    out = shown(parts, capsys)
    assert len(out.splitlines()) < 12
    assert "2500  too thin" in out
    few = [listed(n, "too thin") for n in range(MOST_PARTS)]
    assert shown(few, capsys).count("too thin") == MOST_PARTS


def test_many_rooms_end_with_a_count(capsys: pytest.CaptureFixture[str]) -> None:
    out = shown([listed(n) for n in range(MOST_LISTED + 30)], capsys)
    assert "and 30 more spaces: --storey lists fewer" in out


def test_millimetres_read_as_metres_get_the_sizes_in_four_units(
    two_rooms: Building, tmp_path: Path
) -> None:
    """The two rooms are 7.35 m long: 7,350 in a file that is in millimetres."""
    path = tmp_path / "a.stl"
    data = bytearray(to_stl(two_rooms))
    record = np.dtype([("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")])
    facets = np.frombuffer(bytes(data[84:]), dtype=record).copy()
    facets["p"] *= 1000.0
    path.write_bytes(bytes(data[:84]) + facets.tobytes())
    with pytest.raises(ModelFileError, match="no house is") as caught:
        read_model(path, unit="m", up="z")
    message = str(caught.value)
    assert "in m it would be 7.35e+03 m long" in message
    for word in ("as metres", "as feet", "as inches", "as mm it measures 7.35 ×"):
        assert word in message
    assert read_model(path, unit="mm", up="z").size_m == pytest.approx([7.35, 3.6, 2.4], abs=0.2)
