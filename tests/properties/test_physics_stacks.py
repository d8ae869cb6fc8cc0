"""What must hold of every stack, whatever it is made of."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from envelope.physics.materials import material_permittivity
from envelope.physics.meshes import mesh_sheet_impedance_ohm
from envelope.physics.stacks import Block, Cavity, Dielectric, Sheet, reversed_stack, solve

C_M_S = 299792458.0
Z0_OHM = 376.730313412


def random_items(rng, count, lossless=False):
    """Layers and sheets as buildings have them, and worse."""
    items = []
    for _ in range(count):
        if rng.random() < 0.35:
            resistance = 0.0 if lossless else 10 ** rng.uniform(-0.5, 3.5)
            reactance = rng.uniform(-300.0, 300.0)
            items.append(Sheet(impedance_ohm=np.array([resistance + 1j * reactance])))
        else:
            loss = 0.0 if lossless else rng.uniform(0.0, 1.0) ** 3
            permittivity = rng.uniform(1.0, 9.0) - 1j * loss
            items.append(
                Dielectric(
                    thickness_m=rng.uniform(0.0, 0.08), permittivity=np.array([permittivity])
                )
            )
    return items


def independent_powers(items, frequency, cosine, polarization):
    """R, T and the absorbed share of a leaf by integrating the loss inside it.

    Fields are carried from the back to the front in phase, the loss k0 ε″|E|² of each layer is
    integrated over its depth with Gauss nodes, that of each sheet is Re(Y)|E|². Nothing is
    shared with the code under test.
    """
    wavenumber = 2 * np.pi * frequency / C_M_S
    sine = np.sqrt(1 - cosine**2)
    outside = cosine if polarization == 0 else 1 / cosine
    node, weight = np.polynomial.legendre.leggauss(60)
    electric, magnetic, lost = 1.0 + 0j, outside + 0j, 0.0
    for item in reversed(items):
        if isinstance(item, Sheet):
            admittance = Z0_OHM / item.impedance_ohm[0]
            lost += admittance.real * abs(electric) ** 2
            magnetic = magnetic + admittance * electric
            continue
        permittivity, depth = item.permittivity[0], float(item.thickness_m)
        root = np.sqrt(permittivity - sine**2)
        own = root if polarization == 0 else permittivity / root

        def fields(at, electric=electric, magnetic=magnetic, root=root, own=own):
            phase = wavenumber * root * at
            return (
                electric * np.cos(phase) + 1j * magnetic * np.sin(phase) / own,
                magnetic * np.cos(phase) + 1j * electric * own * np.sin(phase),
            )

        inside, across = fields(0.5 * depth * (node + 1))
        density = abs(inside) ** 2
        if polarization == 1:
            density = density + abs(across * sine / permittivity) ** 2
        lost += wavenumber * -permittivity.imag * 0.5 * depth * (weight @ density)
        electric, magnetic = fields(depth)
    coming = 0.5 * (electric + magnetic / outside)
    returning = 0.5 * (electric - magnetic / outside)
    scale = abs(coming) ** 2
    return abs(returning) ** 2 / scale, 1 / scale, lost / (outside * scale)


def test_reflected_transmitted_and_absorbed_are_all_there_is():
    """R + T + A = 1 within 1e-12 over 200 random stacks, A integrated inside the stack."""
    rng = np.random.default_rng(11)
    worst = 0.0
    for _ in range(200):
        items = random_items(rng, rng.integers(1, 8))
        frequency, cosine = rng.uniform(0.3e9, 6e9), rng.uniform(0.05, 1.0)
        found = solve(stack=items, frequency_hz=frequency, cosine=cosine)
        for polarization in (0, 1):
            reflected, passed, absorbed = independent_powers(items, frequency, cosine, polarization)
            total = (
                found.front_reflection[0, 0, polarization]
                + found.transmission[0, 0, polarization]
                + absorbed
            )
            worst = max(worst, abs(total - 1.0))
            assert found.transmission[0, 0, polarization] == pytest.approx(passed, rel=1e-10)
            assert found.front_reflection[0, 0, polarization] == pytest.approx(reflected, abs=1e-11)
    assert worst < 1e-12


def test_lossless_stacks_keep_nothing():
    rng = np.random.default_rng(12)
    for _ in range(100):
        items = random_items(rng, rng.integers(1, 8), lossless=True)
        found = solve(
            stack=items, frequency_hz=rng.uniform(0.3e9, 30e9), cosine=rng.uniform(0.01, 1.0, 5)
        )
        assert np.max(np.abs(found.front_absorption)) < 1e-12
        assert np.max(np.abs(found.back_absorption)) < 1e-12


def mixed_stack(rng):
    """Leaves, cavities and fixed losses in any order."""
    items = []
    for _ in range(rng.integers(1, 4)):
        items += random_items(rng, rng.integers(0, 4))
        kind = rng.random()
        if kind < 0.5:
            fill = 1.0 + 0.3 * rng.random() - 0.01j * rng.random()
            items.append(Cavity(thickness_m=0.1, permittivity=np.array([fill])))
        elif kind < 0.7:
            loss = rng.uniform(0.0, 30.0)
            reflects = rng.random() * (1 - 10 ** (-loss / 10))
            items.append(Block(loss_db=np.array([loss]), reflects=np.array([reflects])))
    return items + random_items(rng, rng.integers(0, 4))


def test_reciprocity_and_sides():
    """Turned round, a stack passes the same within 1e-12 and shows its other side."""
    rng = np.random.default_rng(13)
    for _ in range(200):
        stack = mixed_stack(rng)
        frequency, cosine = rng.uniform(0.3e9, 30e9), rng.uniform(0.01, 1.0, 3)
        forth = solve(stack=stack, frequency_hz=frequency, cosine=cosine)
        back = solve(stack=reversed_stack(stack), frequency_hz=frequency, cosine=cosine)
        assert forth.transmission == pytest.approx(back.transmission, rel=1e-12, abs=1e-300)
        assert forth.front_reflection == pytest.approx(back.back_reflection, abs=1e-13)
        for found in (forth, back):
            assert np.min(found.front_absorption) > -1e-12
            assert np.min(found.back_absorption) > -1e-12
            assert np.min(found.transmission) >= 0.0


def test_polarizations_agree_along_the_normal():
    rng = np.random.default_rng(14)
    for _ in range(50):
        found = solve(stack=mixed_stack(rng), frequency_hz=2e9, cosine=1.0)
        assert found.transmission[..., 0] == pytest.approx(found.transmission[..., 1], rel=1e-12)


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    resistance=st.floats(0.5, 2000.0),
    frequency_ghz=st.floats(0.3, 30.0),
    cosine=st.floats(0.02, 1.0),
)
def test_a_further_resistive_coat_never_passes_more(seed, resistance, frequency_ghz, cosine):
    """On any face of any leaf, also of leaves across cavities."""
    rng = np.random.default_rng(seed)
    stack = random_items(rng, 3)
    if seed % 2:
        cavity = Cavity(thickness_m=0.1, permittivity=np.array([1.0 + 0j]))
        stack = [*stack, cavity, *random_items(rng, 2)]
    coat = Sheet(impedance_ohm=np.array([resistance + 0j]))
    at = seed % (len(stack) + 1)
    given_cosine = {"frequency_hz": frequency_ghz * 1e9, "cosine": cosine}
    bare = solve(stack=stack, **given_cosine).transmission
    coated = solve(stack=[*stack[:at], coat, *stack[at:]], **given_cosine).transmission
    assert np.all(coated <= bare * (1.0 + 1e-12))


def test_a_mesh_on_glass_can_pass_more():
    """The mesh's inductance tunes out the pane's capacitance: there is no such rule for it.

    0.1 mm copper wire every 10 mm on an 8 mm pane at 2.45 GHz: 1.1 dB more than the bare pane.
    """
    frequency = np.array([2.45e9])
    permittivity, _ = material_permittivity(material="glass", frequency_hz=frequency)
    pane = Dielectric(thickness_m=0.008, permittivity=permittivity)
    mesh = Sheet(
        impedance_ohm=mesh_sheet_impedance_ohm(
            wire_diameter_m=1e-4, pitch_m=0.01, conductivity_s_m=5.8e7, frequency_hz=frequency
        )
    )
    bare = solve(stack=[pane], frequency_hz=frequency, cosine=1.0).transmission[0, 0, 0]
    meshed = solve(stack=[mesh, pane], frequency_hz=frequency, cosine=1.0).transmission[0, 0, 0]
    assert 10 * np.log10(meshed / bare) == pytest.approx(1.1, abs=0.1)


def test_thicker_lossy_walls_pass_less_in_the_long_run():
    """A wall a wavelength thicker never passes more; by 2 m nothing of the fringes is left."""
    frequency = np.array([3e9])
    permittivity, _ = material_permittivity(material="concrete", frequency_hz=frequency)
    widths = np.linspace(0.4, 2.0, 33)
    wall = Dielectric(thickness_m=widths, permittivity=permittivity)
    passed = solve(stack=[wall], frequency_hz=frequency, cosine=0.7).transmission[:, 0, 0, 0]
    step_db = -10 * np.diff(np.log10(passed))
    assert np.all(step_db > 0.0)
    # 8.686 k0 Δd |Im √(ε − sin²θ)| with ε = 5.24 − j0.6546, worked by hand: 3.993 dB
    root = np.sqrt(permittivity[0] - 0.51)
    assert step_db[-1] == pytest.approx(
        20 / np.log(10) * 2 * np.pi * frequency[0] / C_M_S * 0.05 * -root.imag, rel=1e-6
    )
