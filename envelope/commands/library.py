"""`gapcast library`: assemblies, materials and services that a job may name; usual figures."""

from __future__ import annotations

import argparse
import json
import math
from typing import Any

import numpy as np

from envelope.building.job import Assembly, Job, Layer
from envelope.building.library import ASSEMBLIES, FAMILIES, TYPICAL
from envelope.building.model import Building, Site
from envelope.commands.layout import open_console, plain_table
from envelope.commands.tables import without_infinities
from envelope.exposure.stack_loss import judge
from envelope.physics.arrays import SPEED_OF_LIGHT_M_S
from envelope.physics.materials import canonical_name, material_names, material_permittivity
from envelope.physics.tables import metals
from envelope.physics.tables.services import SERVICES
from envelope.pricing.defaults import USUAL
from envelope.text import frequency
from envelope.text.lengths import format_metres
from envelope.text.trade import usual_value

DESCRIPTION = (
    "Lists what a job may name without defining it: assemblies with their layers and the loss of "
    "each at three frequencies, materials with what 10 cm of them lose, radio services with their "
    "bands, and the figures of the trade that are taken where a job does not say. All "
    "assemblies are typical ones: check on site what stands there."
)
AT_HZ = np.array([0.9e9, 1.8e9, 3.5e9])
_OPAQUE_DB = 200.0  # a loss from which a figure says nothing more
_SLAB_M = 0.1


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "what",
        nargs="?",
        choices=("assemblies", "materials", "services", "defaults"),
        help="list only these",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")
    parser.set_defaults(job=None)


def _layers(assembly: Assembly) -> str:
    """Layers in words, from inside to outside."""
    return ", ".join(map(_layer, assembly.layers))


def _layer(layer: Layer) -> str:
    if layer.sheet_resistance_ohm_sq is not None:
        return f"coating of {layer.sheet_resistance_ohm_sq:g} ohm/sq"
    if layer.thickness_m < 1e-4:
        return f"{layer.material} {1e6 * layer.thickness_m:g} µm"
    if layer.thickness_m < 1.0:
        return f"{layer.material} {1e3 * layer.thickness_m:g} mm"
    return f"{layer.material} {format_metres(layer.thickness_m)}"


def _assemblies() -> list[dict[str, Any]]:
    job = Job(
        name="library",
        building=Building(
            site=Site(), storeys=(), spaces=(), panels=(), patches=(), elements=(), digest=""
        ),
        assemblies=ASSEMBLIES,
        treatments={},
        sources=(),
        receivers=(),
        plans=(),
    )
    rows = []
    for family, names in FAMILIES.items():
        for name in names:
            made = ASSEMBLIES[name]
            found = judge(job, assembly=name, treatments=[], frequency_hz=AT_HZ)
            rows.append(
                {
                    "id": name,
                    "for": family,
                    "layers": _layers(made),
                    "loss_db": found.diffuse_loss_db.tolist(),
                    "note": made.note.removeprefix(TYPICAL).removeprefix("; "),
                    "standing": TYPICAL,
                }
            )
    return rows


def _materials() -> list[dict[str, Any]]:
    """Each material once, with its other names and what 10 cm absorb, reflections left out."""
    others: dict[str, list[str]] = {}
    for name in material_names():
        others.setdefault(canonical_name(name), []).append(name)
    rows = []
    for name, names in sorted(others.items()):
        permittivity, within = material_permittivity(material=name, frequency_hz=AT_HZ)
        index = np.sqrt(permittivity)
        per_m = 2.0 * math.pi * AT_HZ / SPEED_OF_LIGHT_M_S * np.abs(index.imag)
        rows.append(
            {
                "id": name,
                "also": [each for each in names if each != name],
                "metal": name in metals.CONDUCTIVITY_S_M,
                "relative_permittivity": permittivity.real.tolist(),
                "absorbs_in_10_cm_db": (20.0 / math.log(10.0) * per_m * _SLAB_M).tolist(),
                "in_range": within.tolist(),
            }
        )
    return rows


def _services() -> list[dict[str, Any]]:
    return [
        {
            "name": each.name,
            "band_hz": [each.low_hz, each.high_hz],
            "sender": each.sender,
            "source": each.source,
            "note": each.note,
        }
        for each in SERVICES
    ]


def _db(value: float) -> str:
    if not math.isfinite(value) or value >= _OPAQUE_DB:
        return "opaque"
    return f"{value:.1f}"


def _print_assemblies(rows: list[dict[str, Any]]) -> None:
    console = open_console()
    at = [f">{frequency(hertz)}" for hertz in AT_HZ.tolist()]
    for family in dict.fromkeys(row["for"] for row in rows):
        table = plain_table("assembly", *at, "from inside to outside", "besides", title=family)
        for row in rows:
            if row["for"] == family:
                table.add_row(row["id"], *map(_db, row["loss_db"]), row["layers"], row["note"])
        console.print(table)
    console.print(
        f"Loss in dB in a diffuse field. All are {TYPICAL}: what stands in the house decides, and "
        "a reading through an open and a shut window tells coated glass from plain."
    )


def _print_materials(rows: list[dict[str, Any]]) -> None:
    console = open_console()
    at = [f">{frequency(hertz)}" for hertz in AT_HZ.tolist()]
    table = plain_table("material", *at, ">permittivity", "also called", title="materials")
    for row in rows:
        metal = row["metal"]
        figures = [
            "metal" if metal else _db(each) + ("" if within else " *")
            for each, within in zip(row["absorbs_in_10_cm_db"], row["in_range"], strict=True)
        ]
        real = "–" if metal else f"{row['relative_permittivity'][1]:.2f}"
        table.add_row(row["id"], *figures, real, ", ".join(row["also"]))
    console.print(table)
    console.print(
        "What 10 cm absorb, in dB, reflections left out; * outside the range of its source "
        "(ITU-R P.2040-3)."
    )


def _print_services(rows: list[dict[str, Any]]) -> None:
    console = open_console()
    table = plain_table("service", ">from", ">to", "sent by", "laid down in", title="services")
    for row in rows:
        low, high = (frequency(hertz) for hertz in row["band_hz"])
        table.add_row(row["name"], low, high, row["sender"], row["source"])
    console.print(table)
    for note in dict.fromkeys(row["note"] for row in rows if row["note"]):
        names = ", ".join(row["name"] for row in rows if row["note"] == note)
        console.print(f"{names}: {note}.")


def _defaults() -> list[dict[str, Any]]:
    return [
        {
            "key": each.key,
            "value": each.value,
            "unit": each.unit,
            "what": each.what,
            "source": each.source,
        }
        for each in USUAL
    ]


def _print_defaults(rows: list[dict[str, Any]]) -> None:
    console = open_console()
    table = plain_table("key", ">usual", "what", "where it comes from", title="defaults")
    for row in rows:
        usual = usual_value(row["value"], row["unit"], feet=False)
        table.add_row(row["key"], usual, row["what"], row["source"])
    console.print(table)
    console.print(
        r'A job changes them in its table \[defaults], such as spread-rate-primer = "250 ft2/gal"; '
        "what a product states itself comes first."
    )


def run(options: argparse.Namespace) -> int:
    """List what may be named."""
    makers = {
        "assemblies": _assemblies,
        "materials": _materials,
        "services": _services,
        "defaults": _defaults,
    }
    printers = {
        "assemblies": _print_assemblies,
        "materials": _print_materials,
        "services": _print_services,
        "defaults": _print_defaults,
    }
    chosen = [options.what] if options.what else list(makers)
    found = {name: makers[name]() for name in chosen}
    if options.json:
        plain = {"format": 1, "frequency_hz": AT_HZ.tolist(), **found}
        print(json.dumps(without_infinities(plain), indent=2))
        return 0
    for name, rows in found.items():
        printers[name](rows)
    return 0
