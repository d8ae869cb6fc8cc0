"""Names of materials, read with the reason and how sure it is."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from envelope.exchange.ifc.import_ifc import import_ifc
from envelope.exchange.ifc.material_words import read_material
from envelope.exchange.select import Wanted
from envelope.project.new_from_model import begin_job

# (name, thickness in m, read as, whether it is sure)
READINGS = [
    ("Glass wool", 0.10, "air", True),
    ("Glaswolle WLG 035", 0.10, "air", True),
    ("Fibreglass batts", 0.10, "air", True),
    ("Laine de verre", 0.10, "air", True),
    ("Schaumglas", 0.10, "air", True),
    ("Insulating glass", 0.024, "glass", True),
    ("Glass", 0.006, "glass", True),
    ("Aerated concrete", 0.24, "plasterboard", False),
    ("Autoclaved aerated block", 0.24, "plasterboard", False),
    ("Béton cellulaire", 0.24, "plasterboard", False),
    ("Porenbeton", 0.24, "plasterboard", False),
    ("Stahlbeton", 0.2, "concrete", True),
    ("Hormigón armado", 0.2, "concrete", True),
    ("Betong", 0.2, "concrete", True),
    ("Steel frame", 0.1, "air", True),
    ("Metal - Stud Layer", 0.09, "air", True),
    ("Steel", 0.1, "air", False),
    ("Steel", 0.001, "metal", True),
    ("Metal sandwich panel", 0.08, "metal", True),
    ("Solid timber", 0.12, "wood", True),
    ("Massivholz", 0.12, "wood", True),
    ("CLT", 0.12, "wood", True),
    ("Cross-laminated timber", 0.12, "wood", True),
    ("Timber", 0.12, "air", False),
    ("Timber", 0.02, "wood", True),
    ("Holzwolle", 0.05, "air", True),
    ("Brique", 0.1, "brick", True),
    ("Ladrillo", 0.1, "brick", True),
]


@pytest.mark.parametrize(("name", "thickness_m", "known", "sure"), READINGS)
def test_names_are_read_by_their_words(
    name: str, thickness_m: float, known: str, sure: bool
) -> None:
    found = read_material(name, thickness_m=thickness_m)
    assert found is not None
    assert (found.known, not found.doubt) == (known, sure)


@pytest.mark.parametrize("name", ["Unobtainium", "Site - Grass", "材料", ""])
def test_what_no_word_fits_is_not_read(name: str) -> None:
    assert read_material(name, thickness_m=0.1) is None


def test_every_material_is_listed_with_its_reason(
    house: Callable[..., Any], tmp_path: Path
) -> None:
    made = house()
    for item in made.file.by_type("IfcMaterial"):
        if item.Name == "Brick, red":
            item.Name = "Aerated concrete"
    path = made.written(tmp_path / "house.ifc")
    imported = import_ifc(path)
    found = {use.name: (use.known, use.sureness) for use in imported.materials}
    assert found == {
        "Aerated concrete": ("plasterboard", "unsure"),
        "Concrete C25": ("concrete", "sure"),
        "Gipsputz": ("plasterboard", "sure"),
        "Gypsum board": ("plasterboard", "sure"),
        "Mineral wool": ("air", "sure"),
        "Timber studs": ("air", "sure"),
        "Unobtainium": (None, "unknown"),
    }
    told = [note for note in imported.noted("guessed") if note.subject == "Aerated concrete"]
    assert "porous" in told[0].message
    text = begin_job(path, folder=tmp_path).text
    for name in found:
        assert f'#   "{name}" -> ' in text
    # The line to correct them by is one that can be uncommented.
    (line,) = [row[2:] for row in text.splitlines() if row.startswith("# materials = ")]
    assert tomllib.loads(line)["materials"] == {
        "Unobtainium": "concrete",
        "Aerated concrete": "plasterboard",
    }


def test_what_is_unsure_is_drawn_between_what_it_may_be(
    house: Callable[..., Any], tmp_path: Path
) -> None:
    made = house()
    for item in made.file.by_type("IfcMaterial"):
        if item.Name == "Brick, red":
            item.Name = "Aerated concrete"
    job = begin_job(made.written(tmp_path / "house.ifc"), folder=tmp_path).job
    walls = [
        made
        for made in job.assemblies.values()
        if any(layer.perhaps_material == "concrete" for layer in made.layers)
    ]
    assert walls
    asked = {each.id: each for each in job.unknowns if each.table == "assembly"}
    assert asked[walls[0].id].taken == "plasterboard taken, drawn as concrete as often"


def test_a_correction_is_sure(house: Callable[..., Any], tmp_path: Path) -> None:
    path = house().written(tmp_path / "house.ifc")
    imported = import_ifc(path, Wanted(materials={"Unobtainium": "wood"}))
    (use,) = [use for use in imported.materials if use.name == "Unobtainium"]
    assert (use.known, use.why, use.sureness) == ("wood", "as the job says", "sure")
