"""The starter assemblies, materials and services as the command lists them."""

from __future__ import annotations

import cmath
import json
import math

import pytest

from envelope.building.library import ASSEMBLIES, FAMILIES
from envelope.cli import main
from envelope.physics.tables.services import SERVICES


def listed(capsys: pytest.CaptureFixture[str], *what: str) -> dict[str, list[dict[str, object]]]:
    assert main(["library", *what, "--json"]) == 0
    found: dict[str, list[dict[str, object]]] = json.loads(capsys.readouterr().out)
    return found


def test_every_assembly_is_listed_once_with_three_losses(
    capsys: pytest.CaptureFixture[str],
) -> None:
    rows = listed(capsys, "assemblies")["assemblies"]
    assert sorted(str(row["id"]) for row in rows) == sorted(ASSEMBLIES)
    assert sum(len(names) for names in FAMILIES.values()) == len(ASSEMBLIES)
    by_id = {row["id"]: row for row in rows}
    assert by_id["timber-wall"]["loss_db"][1] == pytest.approx(6.5, abs=0.1)  # type: ignore[index]
    assert by_id["plastic-frame"]["loss_db"] == pytest.approx([0.0, 0.0, 0.0], abs=0.01)
    assert all(row["standing"] == "typical, check on site" for row in rows)
    assert by_id["double-low-e"]["layers"] == (
        "glass 4 mm, coating of 4 ohm/sq, air 16 mm, glass 4 mm"
    )


def test_a_material_absorbs_what_its_recommendation_says(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """P.2040-3 Table 3, concrete: ε' = 5.24, σ = 0.0462 f^0.7822 S/m with f in GHz."""
    rows = {row["id"]: row for row in listed(capsys, "materials")["materials"]}
    for f_ghz, found in zip((0.9, 1.8, 3.5), rows["concrete"]["absorbs_in_10_cm_db"], strict=True):  # type: ignore[arg-type]
        eta = 5.24 - 17.9751j * 0.0462 * f_ghz**0.7822 / f_ghz
        per_m = 2.0 * math.pi * f_ghz * 1e9 / 299_792_458.0 * abs(cmath.sqrt(eta).imag)
        assert found == pytest.approx(20.0 * math.log10(math.e) * per_m * 0.1, rel=1e-5)
    assert rows["aluminium"]["also"] == ["aluminum"]
    assert rows["aluminium"]["metal"] is True


def test_services_have_their_bands_and_sources(capsys: pytest.CaptureFixture[str]) -> None:
    rows = listed(capsys, "services")["services"]
    assert len(rows) == len(SERVICES)
    assert all(row["source"] for row in rows)


def test_the_tables_say_what_things_are(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["library"]) == 0
    said = " ".join(capsys.readouterr().out.replace("\xa0", " ").split())
    for words in (
        "typical, check on site",
        "LTE 1800 1 805 MHz" if "1 805 MHz" in said else "LTE 1800",
        "metal-frame opaque",
        "What 10 cm absorb",
    ):
        assert words in said
