"""What a sound project file becomes; expected numbers worked by hand."""

import math
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from envelope.building.job import Job
from envelope.errors import ProjectFileError
from envelope.project import load, load_text

FILE = Path(__file__).parent / "data" / "bedroom.toml"
BASE = FILE.read_text(encoding="utf-8")


def job(*pairs: tuple[str, str], add: str = "") -> Job:
    text = BASE
    for old, new in pairs:
        assert text.count(old) >= 1, old
        text = text.replace(old, new, 1)
    return load_text(text + add, path="house.toml")


def test_a_file() -> None:
    found = load(FILE)
    assert found.name == "Test bedroom"
    assert found.building.site.north_rad == pytest.approx(math.radians(15.0))
    assert found.building.site.grade_m == 0.0
    assert found.building.site.reach_m == 3.0
    assert found.building.space("bedroom").volume_m3 == pytest.approx(4.2 * 3.6 * 2.4)
    assert found.building.panel("bedroom/W1").area_m2 == pytest.approx(1.5 * 1.2)
    assert found.assemblies["wall"].loss is not None
    assert found.assemblies["wall"].loss.losses_db == (6.0,)
    assert found.assemblies["wall"].loss.frequencies_hz == ()
    assert found.assemblies["pane"].loss is not None
    assert found.assemblies["pane"].loss.frequencies_hz == (9e8, 3.5e9)
    coating = found.treatments["coating"]
    assert (coating.kind, coating.sheet_resistance_ohm_sq, coating.coats) == ("sheet", 5.0, 1)
    assert coating.price is not None
    assert coating.price.amount == Decimal(24)
    assert (coating.price.currency, coating.price.unit) == ("EUR", "m2")
    (mast,) = found.sources
    assert mast.azimuth_rad == pytest.approx(math.radians(231.0))
    assert mast.elevation_rad == pytest.approx(math.radians(4.0))
    assert mast.spread_rad == pytest.approx(math.radians(5.0))
    assert mast.band_hz == (1.805e9, 1.88e9)
    assert mast.level_w_m2 == {"": 8.5e-4}
    assert mast.scattered == 0.1  # neither it nor the line of sight is stated: drawn, 0 to 0.4
    assert mast.position_m is None
    (pillow,) = found.receivers
    np.testing.assert_allclose(pillow.position_m, (0.6, 1.2, 0.7))
    assert pillow.size_m is None
    assert not found.assumed_source
    assert [plan.id for plan in found.plans] == ["as-built", "walls"]
    assert found.plan("as-built").treatments == {}
    assert found.plan("walls").treatments == {
        f"bedroom/{number}": ("coating",) for number in (1, 2, 3, 4)
    }


def test_spellings_that_mean_the_same_give_the_same_building() -> None:
    same = [
        ('size = "4.2 m x 3.6 m"', 'size = "4200 × 3600 mm"'),
        ('size = "4.2 m x 3.6 m"', 'footprint = "0,0  4.2,0  4.2,3.6  0,3.6 m"'),
        ('size = "4.2 m x 3.6 m"', 'walk = "E 4.2 m; N 3.6 m; W 4.2 m; S"'),
        ('size = "4.2 m x 3.6 m"', 'walk = "E 4.2 m; N 3.6 m; W 4.2 m; S 3.6 m;"'),
        ("height = ", "'height' = "),
        ('on = "bedroom/1"', 'on = "bedroom/south"'),
        ('at = "1.0 m"', 'at = "1.7 m"\nfrom = "left"'),
    ]
    digest = job().building.digest
    for pair in same:
        assert job(pair).building.digest == digest, pair


def test_windows_files_with_a_mark_at_the_start(tmp_path: Path) -> None:
    path = tmp_path / "windows.toml"
    path.write_bytes(b"\xef\xbb\xbf" + BASE.replace("\n", "\r\n").encode())
    assert load(path).building.digest == job().building.digest


def test_coordinates_are_the_spaces_own() -> None:
    add = '[[storey]]\nid = "upper"\nfloor = "2.7 m"\n'
    add += '[[space]]\nid = "attic"\nstorey = "upper"\norigin = "1 m, 2 m"\n'
    add += 'size = "3 m x 2 m"\nheight = "2 m"\n'
    add += '[[receiver]]\nid = "cot"\nspace = "attic"\nat = "1, 1, 0.5 m"\n'
    add += 'size = "0.6 m x 1.2 m x 0.2 m"\n'
    add += '[[source]]\nid = "router"\nspace = "attic"\nat = "2, 1.5, 1 m"\n'
    add += 'band = "2.45 GHz"\neirp = "20 dBm"\n'
    add += '[[source]]\nid = "lamp"\nat = "-3, 2, 5 m"\nband = "868 MHz"\neirp = "25 mW"\n'
    text = ('floor = "0 m"', 'floor = "0.3 m"')
    floor = ('slab = "wall"', 'slab = "wall"\nfloor = "wall"')
    found = job(text, floor, ('level = "850 uW/m2"', "level = { ground = '1 V/m' }"), add="")
    assert found.sources[0].level_w_m2 == {"ground": pytest.approx(2.654e-3, rel=1e-3)}
    found = job(text, floor, add=add)
    cot = found.receivers[1]
    np.testing.assert_allclose(cot.position_m, (2.0, 3.0, 3.2))
    assert cot.size_m is not None
    np.testing.assert_allclose(cot.size_m, (0.6, 1.2, 0.2))
    router, lamp = found.sources[1:]
    assert (router.space, lamp.space) == ("attic", None)
    assert router.position_m is not None
    assert lamp.position_m is not None
    np.testing.assert_allclose(router.position_m, (3.0, 3.5, 3.7))
    np.testing.assert_allclose(lamp.position_m, (-3.0, 2.0, 5.0))
    assert router.eirp_w == pytest.approx(0.1)
    assert lamp.eirp_w == 0.025
    assert router.azimuth_rad is None
    assert router.level_w_m2 == {}


def test_a_space_on_another_storey() -> None:
    add = '[[storey]]\nid = "upper"\nfloor = "2.7 m"\n'
    text = BASE.replace('slab = "wall"', 'slab = "wall"\nfloor = "wall"') + add
    moved = load_text(text, path="house.toml", storey_of={"bedroom": "upper"})
    assert moved.building.space("bedroom").floor_m == 2.7
    assert moved.building.space("bedroom").storey == "upper"
    np.testing.assert_allclose(moved.receivers[0].position_m, (0.6, 1.2, 3.4))
    with pytest.raises(ProjectFileError, match='there is no storey "uper": did you mean "upper"'):
        load_text(text, path="house.toml", storey_of={"bedroom": "uper"})
    with pytest.raises(ProjectFileError, match='there is no space "bed"'):
        load_text(text, path="house.toml", storey_of={"bed": "upper"})


def test_what_absorbs_and_what_is_uncertain() -> None:
    found = job(
        ('height = "2.4 m"', 'height = "2.4 m"\noccupants = 2\nfurnishing = "1.5 m2"'),
        ('level = "850 uW/m2"', 'level = "850 uW/m2"\nlevel-tolerance = "2 dB"'),
    )
    assert found.occupants == {"bedroom": 2}
    assert found.furnishing_m2 == {"bedroom": 1.5}
    assert found.sources[0].level_tolerance_db == 2.0
    assert found.sources[0].direction_tolerance_rad == 0.0873
    plain = job()
    assert plain.occupants == {}
    assert plain.furnishing_m2 == {"bedroom": 2.0}  # a furnished bedroom, drawn and asked for
    assert {(each.id, each.key) for each in plain.unknowns} == {
        ("bedroom", "furnishing"),
        ("mast", "scattered"),
    }
    assert ("bedroom", "furnishing") not in {(each.id, each.key) for each in found.unknowns}
    assert plain.sources[0].level_tolerance_db == 3.0


def test_no_source_is_assumed_and_said() -> None:
    begin, end = BASE.index("[[source]]"), BASE.index("[[receiver]]")
    found = load_text(BASE[:begin] + BASE[end:], path="house.toml")
    assert found.sources == ()
    assert found.assumed_source


def test_a_box_may_touch_a_wall() -> None:
    found = job(('"0.6, 1.2, 0.7 m"', '"0.7, 1, 0.5 m"\nsize = "1.4 m x 2 m x 0.2 m"'))
    assert found.receivers[0].size_m is not None


PLANS = """
[[treatment]]
id = "film"
kind = "fixed"
loss = "24 dB"
reflects = 0.9
[[plan]]
id = "c"
extends = "b"
treat = [{ on = "bedroom/2", with = ["film", "coating"] }]
[[plan]]
id = "b"
title = "All walls but one"
extends = "walls"
treat = [
    { on = "bedroom/*", with = "film" },
    { on = "bedroom/walls", with = "coating" },
    { on = "bedroom/3", with = [] },
]
[[plan]]
id = "d"
extends = "as-built"
"""


def test_plans_build_on_one_another() -> None:
    found = job(add=PLANS)
    assert [plan.id for plan in found.plans] == ["as-built", "walls", "c", "b", "d"]
    coated = {f"bedroom/{number}": ("coating",) for number in (1, 2, 4)}
    rest = {f"bedroom/{name}": ("film",) for name in ("W1", "floor", "ceiling")}
    assert found.plan("b").treatments == {**coated, **rest}
    assert found.plan("b").title == "All walls but one"
    assert found.plan("c").treatments == {**coated, **rest, "bedroom/2": ("film", "coating")}
    assert found.plan("d").treatments == {}
    order = [panel.id for panel in found.building.panels]
    places = [order.index(panel) for panel in found.plan("c").treatments]
    assert places == sorted(places)


TREATMENTS = """
[[material]]
id = "aerated-block"
permittivity = 2.1
conductivity = "0.02 S/m"
[[material]]
id = "insulation"
permittivity = 1.1
loss-tangent = 0.001
[[assembly]]
id = "cavity-wall"
note = "as found"
layers = [
    { material = "plasterboard", thickness = "1/2 in" },
    { material = "air", thickness = "89 mm" },
    { material = "aerated-block", thickness = "100 mm" },
    { material = "air", thickness = "39 mm" },
    { material = "air", thickness = "60 mm", cavity = false },
    { material = "glass", thickness = "4 mm" },
    { sheet-resistance = "8 ohm/sq" },
    { material = "air", thickness = "16 mm", cavity = true },
]
[[assembly]]
id = "as-surveyed"
entry-loss = "concrete"
[[assembly]]
id = "quick"
loss = "6 dB"
reflects = 0.2
[[treatment]]
id = "fabric"
kind = "mesh"
wire = "0.03 mm"
pitch = "1 mm"
metal = "copper"
standoff = "50 mm"
note = "fire class B"
[[treatment]]
id = "net"
kind = "mesh"
wire = "0.1 mm"
pitch = "1 mm"
conductivity = "10 MS/m"
[[treatment]]
id = "sheeted"
kind = "table"
loss = { "900 MHz" = "40 dB", "3.5 GHz" = "34 dB" }
price = "99 EUR/roll"
[[treatment]]
id = "foil"
kind = "layers"
layers = [{ material = "aluminium", thickness = "9 um" }]
[[treatment]]
id = "two-coats"
kind = "sheet"
sheet-resistance = "5 Ω/sq"
coats = 2
"""


def test_assemblies_materials_and_treatments() -> None:
    found = job(add=TREATMENTS)
    layers = found.assemblies["cavity-wall"].layers
    assert [layer.material for layer in layers[:3]] == ["plasterboard", "air", "aerated-block"]
    assert [layer.thickness_m for layer in layers] == [
        0.0127, 0.089, 0.1, 0.039, 0.06, 0.004, 0.0, 0.016,
    ]  # fmt: skip
    assert [layer.cavity for layer in layers] == [
        False, True, False, False, False, False, False, True,
    ]  # fmt: skip
    assert layers[6].sheet_resistance_ohm_sq == 8.0
    assert layers[6].material is None
    assert found.assemblies["cavity-wall"].note == "as found"
    assert found.assemblies["as-surveyed"].entry_loss == "concrete"
    assert found.assemblies["quick"].reflects == 0.2
    assert found.assemblies["wall"].reflects is None
    assert found.materials["aerated-block"].conductivity_s_m == 0.02
    assert found.materials["insulation"].loss_tangent == 0.001
    fabric, net = found.treatments["fabric"], found.treatments["net"]
    assert (fabric.wire_diameter_m, fabric.pitch_m, fabric.standoff_m) == (3e-5, 1e-3, 0.05)
    assert fabric.conductivity_s_m == 5.8e7
    assert fabric.note == "fire class B"
    assert net.conductivity_s_m == 1e7
    sheeted = found.treatments["sheeted"]
    assert sheeted.table is not None
    assert sheeted.table.losses_db == (40.0, 34.0)
    assert sheeted.loss is None
    assert sheeted.price is not None
    assert (sheeted.price.amount, sheeted.price.unit) == (Decimal(99), "roll")
    assert found.treatments["foil"].layers[0].thickness_m == 9e-6
    assert found.treatments["two-coats"].coats == 2


def test_what_is_said_of_panels_and_the_last_word() -> None:
    add = '[[panel]]\non = "bedroom/walls"\nbehind = "earth"\nassembly = "pane"\n'
    add += '[[panel]]\non = "bedroom/south"\nassembly = "wall"\n'
    add += '[[panel]]\non = "bedroom/[23]"\nassembly = "wall"\n'
    building = job(add=add).building
    panels = [building.panel(f"bedroom/{number}") for number in (1, 2, 3, 4)]
    assert [panel.earth for panel in panels] == [True, True, True, True]
    assert [panel.assembly for panel in panels] == ["wall", "wall", "wall", "pane"]


def test_openings_in_ceilings_floors_and_doors() -> None:
    add = '[[opening]]\nid = "H1"\non = "bedroom/ceiling"\nkind = "hatch"\nat = "2, 1 m"\n'
    add += 'size = "0.6 m x 0.8 m"\nassembly = "pane"\n'
    add += '[[opening]]\nid = "D1"\non = "bedroom/north"\nkind = "door"\nat = "3 ft"\n'
    add += 'size = "0.8 m x 2 m"\nundercut = "8 mm"\n'
    building = job(add=add).building
    hatch = building.panel("bedroom/H1").outline
    np.testing.assert_allclose(hatch.min(axis=0), (1.7, 0.6, 2.4), atol=1e-12)
    np.testing.assert_allclose(hatch.max(axis=0), (2.3, 1.4, 2.4), atol=1e-12)
    assert building.panel("bedroom/D1/undercut").area_m2 == pytest.approx(0.8 * 0.008)


def test_models_load() -> None:
    models = Path(__file__).parents[3] / "models"
    for path in sorted(models.glob("*.toml")):
        assert load(path).receivers


def test_importing_the_package_brings_nothing_heavy() -> None:
    code = (
        "import sys, envelope.project; "
        "print(sorted({'numba', 'shapely', 'scipy', 'tomlkit', 'rich'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "[]"
