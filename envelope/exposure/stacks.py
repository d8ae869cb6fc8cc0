"""From a job's words to the physics' items: assemblies and treatments as layers, sheets, blocks.

An item is made once and used in every stack that has it, so that the solver works it out once.
What lies outside the range of its source is computed all the same and remembered by name.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from envelope.building.job import Assembly, Job, Layer, LossCurve, Treatment
from envelope.exposure.apertures import SmallOpening
from envelope.exposure.assumptions import hertz
from envelope.exposure.tolerances import Tolerances
from envelope.geometry.plane import Floats
from envelope.physics.apertures import honeycomb_transmission
from envelope.physics.arrays import SPEED_OF_LIGHT_M_S
from envelope.physics.materials import (
    UNKNOWN_BOARD,
    board_permittivity,
    canonical_name,
    conductivity_permittivity,
    entry_loss_db,
    loss_tangent_permittivity,
    material_permittivity,
    metal_conductivity_s_m,
)
from envelope.physics.meshes import (
    PITCH_PER_WAVELENGTH,
    mesh_in_range,
    mesh_sheet_impedance_ohm,
)
from envelope.physics.sheets import (
    coats_resistance_ohm_sq,
    data_sheet_resistance_ohm_sq,
    interpolated_loss_db,
)
from envelope.physics.stacks import Block, Cavity, Dielectric, Item, Sheet

# What an assembly given by its loss alone sends back; a stated figure takes its place.
ASSEMBLY_REFLECTS = 0.1
DEFAULT_WIRE = "copper"
NO_COAT = 1e9  # times a coat's resistance: as good as none
PARTS_APART_M = 1.0  # any width does: combined in power, air weakens nothing

# The most that a treatment could do. No id in a file has a space in it.
REFLECTOR = Treatment(
    id="perfect reflector",
    kind="fixed",
    loss=LossCurve(frequencies_hz=(), losses_db=(300.0,)),
    reflects=1.0,
    loss_tolerance_db=0.0,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StackKey:
    """Everything on both sides of one element, from the side that a ray leaves."""

    near: tuple[str, ...]  # treatments of its own panel, the one on the surface first
    assembly: str | None
    forward: bool  # the assembly's first layer lies on the near side
    far: tuple[str, ...]  # treatments of the facing panel, the one on the surface first
    opening: SmallOpening | None = None  # the slot or hole that the panel is
    around: StackKey | None = None  # what stands beside a small opening


_LEAST_PASSED = 1e-100  # 1,000 dB


@dataclass(slots=True, kw_only=True, eq=False)
class Stacker:
    """Makes the items of a job's stacks at given frequencies, each only once."""

    job: Job
    frequency_hz: Floats
    tolerances: Tolerances = field(default_factory=Tolerances)
    extrapolated: dict[str, tuple[float, ...]] = field(default_factory=dict)  # at which of them
    _assemblies: dict[str, tuple[Item, ...]] = field(default_factory=dict)
    _treatments: dict[str, tuple[Item, ...]] = field(default_factory=dict)

    def items(self, key: StackKey) -> tuple[Item, ...]:
        """Items of a stack from its near side to its far side.

        Raises
        ------
        RangeError
            Where a material is unknown or a figure is outside what physics allows.
        """
        near = [item for name in reversed(key.near) for item in self._treatment(name)]
        far = [item for name in key.far for item in reversed(self._treatment(name))]
        middle = self._assembly(key.assembly) if key.assembly is not None else ()
        if not key.forward:
            middle = middle[::-1]
        return (*near, *middle, *far)

    # ---- assemblies

    def _assembly(self, name: str) -> tuple[Item, ...]:
        if name not in self._assemblies:
            self._assemblies[name] = self._assembly_items(self.job.assemblies[name])
        return self._assemblies[name]

    def _assembly_items(self, assembly: Assembly) -> tuple[Item, ...]:
        if assembly.loss is not None:
            loss_db = self._curve(assembly.loss, f"assembly {assembly.id}")
            return (self._block(loss_db, assembly),)
        if assembly.entry_loss is not None:
            loss_db, within = entry_loss_db(
                material=assembly.entry_loss, frequency_hz=self.frequency_hz
            )
            self._note(assembly.entry_loss, within)
            return (self._block(loss_db, assembly),)
        if assembly.parts:
            items = [
                item for part in assembly.parts for item in (self._between(), *self._assembly(part))
            ]
            return tuple(items[1:])
        return tuple(self._layer(layer, f"assembly {assembly.id}") for layer in assembly.layers)

    def _between(self) -> Item:
        """Air between two parts of an assembly."""
        return Cavity(thickness_m=np.array(PARTS_APART_M), permittivity=self._permittivity("air"))

    def _block(self, loss_db: Floats, assembly: Assembly) -> Block:
        loss_db = self._moved(loss_db, f"assembly {assembly.id}", assembly.loss_tolerance_db)
        passed = 10.0 ** (-loss_db / 10.0)
        reflects = ASSEMBLY_REFLECTS if assembly.reflects is None else assembly.reflects
        return Block(loss_db=loss_db, reflects=np.minimum(reflects, 1.0 - passed))

    def _moved(self, loss_db: Floats, product: str, half_width_db: float) -> Floats:
        """Losses (..., f) as a product's tolerance moves them: nothing lets more than all through.

        What is said to let everything through is no product.
        """
        moved = loss_db + self.tolerances.loss_db(product, half_width_db)[..., np.newaxis]
        return np.where(loss_db > 0.0, np.maximum(moved, 0.0), 0.0)

    def _layer(self, layer: Layer, product: str) -> Item:
        if layer.sheet_resistance_ohm_sq is not None:
            return self._sheet(layer.sheet_resistance_ohm_sq, product, perhaps=layer.perhaps)
        assert layer.material is not None
        permittivity = self._permittivity(layer.material)
        if layer.perhaps_material is not None:
            other = self._permittivity(layer.perhaps_material)
            is_other = self.tolerances.coated(product)[..., np.newaxis]
            permittivity = np.where(is_other, other, permittivity)
        thickness = layer.thickness_m * self.tolerances.thickness(product)
        if layer.cavity:
            return Cavity(thickness_m=thickness, permittivity=permittivity)
        return Dielectric(thickness_m=thickness, permittivity=permittivity)

    def _permittivity(self, name: str) -> np.ndarray:
        """Permittivity (..., f) of a material of the job or of the tables."""
        own = self.job.materials.get(name)
        if own is not None:
            if own.loss_tangent is not None:
                plain = loss_tangent_permittivity(
                    relative_permittivity=own.relative_permittivity,
                    loss_tangent=own.loss_tangent,
                    frequency_hz=self.frequency_hz,
                )
            else:
                plain = conductivity_permittivity(
                    relative_permittivity=own.relative_permittivity,
                    conductivity_s_m=own.conductivity_s_m or 0.0,
                    frequency_hz=self.frequency_hz,
                )
        else:
            if canonical_name(name) == UNKNOWN_BOARD:
                plain, within = board_permittivity(
                    share=self.tolerances.board(), frequency_hz=self.frequency_hz
                )
            else:
                plain, within = material_permittivity(material=name, frequency_hz=self.frequency_hz)
            if canonical_name(name) != "vacuum":
                self._note(name, within)
        # Air stays air: what is tolerated is the excess over it.
        real = 1.0 + (plain.real - 1.0) * self.tolerances.permittivity(name)[..., np.newaxis]
        imaginary = plain.imag * self.tolerances.conductivity(name)[..., np.newaxis]
        return np.asarray(real + 1j * imaginary)

    # ---- treatments

    def _treatment(self, name: str) -> tuple[Item, ...]:
        """Items of a treatment from the room towards the surface that it is put on."""
        if name not in self._treatments:
            treatment = REFLECTOR if name == REFLECTOR.id else self.job.treatments[name]
            items = self._treatment_items(treatment)
            if treatment.standoff_m > 0.0:
                items = (*items, self._standoff(treatment))
            self._treatments[name] = items
        return self._treatments[name]

    def _standoff(self, treatment: Treatment) -> Item:
        """Air behind a treatment: combined in power where it hangs, since its width varies."""
        made = Cavity if treatment.hangs else Dielectric
        return made(
            thickness_m=np.array(treatment.standoff_m), permittivity=self._permittivity("air")
        )

    def _treatment_items(self, treatment: Treatment) -> tuple[Item, ...]:
        product = f"treatment {treatment.id}"
        if treatment.kind == "sheet":
            assert treatment.sheet_resistance_ohm_sq is not None
            resistance = coats_resistance_ohm_sq(
                sheet_resistance_ohm_sq=treatment.sheet_resistance_ohm_sq, coats=treatment.coats
            )
            return (self._sheet(float(resistance), product),)
        if treatment.kind == "mesh":
            assert treatment.wire_diameter_m is not None
            assert treatment.pitch_m is not None
            conductivity = treatment.conductivity_s_m
            if conductivity is None:
                conductivity = metal_conductivity_s_m(metal=DEFAULT_WIRE)
            impedance = mesh_sheet_impedance_ohm(
                wire_diameter_m=treatment.wire_diameter_m,
                pitch_m=treatment.pitch_m,
                conductivity_s_m=conductivity,
                frequency_hz=self.frequency_hz,
            )
            within = mesh_in_range(pitch_m=treatment.pitch_m, frequency_hz=self.frequency_hz)
            farthest = PITCH_PER_WAVELENGTH * SPEED_OF_LIGHT_M_S / treatment.pitch_m
            self._note(f"{product} (a mesh, above {hertz(farthest)})", within)
            factor = self.tolerances.sheet_resistance(product)[..., np.newaxis]
            return (Sheet(impedance_ohm=np.asarray(impedance) * factor),)
        if treatment.kind == "table":
            assert treatment.table is not None
            ohm_sq, within = data_sheet_resistance_ohm_sq(
                frequencies_hz=treatment.table.frequencies_hz,
                losses_db=treatment.table.losses_db,
                frequency_hz=self.frequency_hz,
            )
            self._note(product, within)
            factor = self.tolerances.sheet_resistance(product)[..., np.newaxis]
            return (Sheet(impedance_ohm=(ohm_sq * factor).astype(np.complex128)),)
        if treatment.kind == "honeycomb":
            return (self._honeycomb(treatment),)
        if treatment.kind == "layers":
            return tuple(self._layer(layer, product) for layer in reversed(treatment.layers))
        assert treatment.loss is not None
        loss_db = self._curve(treatment.loss, product)
        loss_db = self._moved(loss_db, product, treatment.loss_tolerance_db)
        passed = 10.0 ** (-loss_db / 10.0)
        if treatment.reflects is not None:
            reflects = np.minimum(treatment.reflects, 1.0 - passed)
            return (Block(loss_db=loss_db, reflects=reflects),)
        return (Block(loss_db=loss_db, reflects=(1.0 - np.sqrt(passed)) ** 2),)

    def _honeycomb(self, treatment: Treatment) -> Block:
        """A honeycomb vent: what theory leaves open is carried as a tolerance."""
        assert treatment.cell_m is not None
        assert treatment.depth_m is not None
        assert treatment.open_fraction is not None
        found = honeycomb_transmission(
            cell_m=treatment.cell_m,
            depth_m=treatment.depth_m,
            open_fraction=treatment.open_fraction,
            frequency_hz=self.frequency_hz,
        )
        # cells that are far too deep pass nothing that a number can hold
        high, low = (np.log(np.maximum(each, _LEAST_PASSED)) for each in (found.high, found.low))
        half, middle = 0.5 * (high - low), 0.5 * (high + low)
        passed = np.exp(middle + half * self.tolerances.bracket[..., np.newaxis])
        return Block(loss_db=-10.0 * np.log10(passed), reflects=1.0 - passed)

    # ---- shared

    def _sheet(self, ohm_sq: float, product: str, *, perhaps: bool = False) -> Sheet:
        ones = np.ones(len(self.frequency_hz))
        factor = self.tolerances.sheet_resistance(product)[..., np.newaxis]
        if perhaps:
            factor = np.where(self.tolerances.coated(product)[..., np.newaxis], factor, NO_COAT)
        return Sheet(impedance_ohm=(ohm_sq * ones * factor).astype(np.complex128))

    def _curve(self, curve: LossCurve, name: str) -> Floats:
        loss_db, within = interpolated_loss_db(
            frequencies_hz=curve.frequencies_hz,
            losses_db=curve.losses_db,
            frequency_hz=self.frequency_hz,
        )
        self._note(name, within)
        return loss_db

    def _note(self, name: str, within: np.ndarray) -> None:
        if not within.all():
            self.extrapolated[name] = tuple(self.frequency_hz[~within].tolist())
