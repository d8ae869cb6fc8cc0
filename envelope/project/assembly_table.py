"""An assembly as a project file says it."""

from __future__ import annotations

from typing import Any

from envelope.building.job import LOSS_TOLERANCE_DB, Assembly, Layer, LossCurve
from envelope.units import parse_length

Table = dict[str, Any]


def assembly_table(assembly: Assembly) -> Table:
    """Keys and values of the [[assembly]] that gives this very assembly when it is read."""
    found: Table = {"id": assembly.id}
    if assembly.note:
        found["note"] = assembly.note
    if assembly.loss is not None:
        found["loss"] = _loss(assembly.loss)
    elif assembly.entry_loss is not None:
        found["entry-loss"] = assembly.entry_loss
    elif assembly.parts:
        found["parts"] = list(assembly.parts)
    else:
        found["layers"] = [_layer(layer) for layer in assembly.layers]
    if assembly.reflects is not None:
        found["reflects"] = assembly.reflects
    given_as_loss = assembly.loss is not None or assembly.entry_loss is not None
    if given_as_loss and assembly.loss_tolerance_db != LOSS_TOLERANCE_DB:
        found["loss-tolerance"] = f"{assembly.loss_tolerance_db!r} dB"
    return found


def _loss(loss: LossCurve) -> str | Table:
    if not loss.frequencies_hz:
        return f"{loss.losses_db[0]:.12g} dB"
    pairs = zip(loss.frequencies_hz, loss.losses_db, strict=True)
    return {f"{hertz / 1e6:.12g} MHz": f"{decibels:.12g} dB" for hertz, decibels in pairs}


def _layer(layer: Layer) -> Table:
    if layer.material is None:
        coat: Table = {"sheet-resistance": f"{layer.sheet_resistance_ohm_sq!r} ohm/sq"}
        return {**coat, "perhaps": True} if layer.perhaps else coat
    entry: Table = {"material": layer.material, "thickness": thickness_text(layer.thickness_m)}
    if layer.cavity or layer.material in ("air", "vacuum"):
        entry["cavity"] = layer.cavity
    if layer.perhaps_material is not None:
        entry["perhaps-material"] = layer.perhaps_material
    return entry


def thickness_text(thickness_m: float) -> str:
    """A thickness in millimetres, or in metres where millimetres would not read the same."""
    millimetres = f"{1e3 * thickness_m:.6g} mm"
    return millimetres if parse_length(millimetres) == thickness_m else f"{thickness_m!r} m"
