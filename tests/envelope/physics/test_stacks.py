import numpy as np
import pytest
import tmm

from envelope.errors import RangeError
from envelope.physics.materials import material_permittivity
from envelope.physics.stacks import (
    Block,
    Cavity,
    Dielectric,
    Sheet,
    reversed_stack,
    solve,
    solve_many,
)

C_M_S = 299792458.0


def layer(material, thickness, frequency):
    permittivity, _ = material_permittivity(
        material=material, frequency_hz=np.atleast_1d(frequency)
    )
    return Dielectric(thickness_m=thickness, permittivity=permittivity)


def sheet(resistance, count=1):
    return Sheet(impedance_ohm=np.full(count, resistance, dtype=complex))


def loss(found):
    return -10 * np.log10(found.transmission)


@pytest.mark.parametrize("degrees", [0.0, 45.0, 80.0, 89.9])
def test_thick_lossy_wall_stays_finite(degrees):
    """A metre of concrete at 60 GHz and more of it: tiny, then zero, never NaN."""
    frequency = np.array([60e9])
    cosine = np.cos(np.radians(degrees))
    metre = solve(stack=[layer("concrete", 1.0, frequency)], frequency_hz=frequency, cosine=cosine)
    # 8.686 · k0 · |Im √ε| · 1 m, worked by hand for normal incidence: 862 dB
    assert np.all(metre.transmission < 1e-60)
    assert np.all(metre.transmission > 0.0)
    much = solve(stack=[layer("concrete", 9.0, frequency)], frequency_hz=frequency, cosine=cosine)
    assert np.all(much.transmission == 0.0)
    for found in (metre, much):
        assert np.all(np.isfinite(found.front_reflection))
        assert np.all(np.isfinite(found.back_reflection))
    # Thick enough, only the front face counts
    assert much.front_reflection == pytest.approx(metre.front_reflection, rel=1e-12)


def test_nothing_and_layers_without_thickness_pass_everything():
    frequency, cosine = np.array([1e9, 6e9]), np.array([1.0, 0.5, 0.01])
    for stack in ([], [layer("concrete", 0.0, frequency)], [layer("air", 2.0, frequency)]):
        found = solve(stack=stack, frequency_hz=frequency, cosine=cosine)
        assert found.transmission.shape == (2, 3, 2)
        assert found.transmission == pytest.approx(np.ones((2, 3, 2)), abs=1e-12)
        assert found.front_reflection == pytest.approx(np.zeros((2, 3, 2)), abs=1e-12)


def test_thin_layer_becomes_a_sheet():
    """A micrometre of 1e4 S/m is 100 Ω/sq."""
    frequency = np.array([2.45e9])
    cosine = np.array([1.0, 0.6, 0.1])
    permittivity = np.array([1.0 - 1j * 1e4 * 17.975104e9 / frequency[0]])
    film = Dielectric(thickness_m=1e-6, permittivity=permittivity)
    thin = solve(stack=[film], frequency_hz=frequency, cosine=cosine)
    flat = solve(stack=[sheet(100.0)], frequency_hz=frequency, cosine=cosine)
    assert loss(thin) == pytest.approx(loss(flat), abs=1e-3)


def test_metal_foil_against_tmm():
    """Ten micrometres of aluminium between boards: 100 dB and more, 1e-6 dB apart."""
    frequency = 1e9
    stack = [
        layer("plasterboard", 0.0127, frequency),
        layer("aluminium", 1e-5, frequency),
        layer("wood", 0.02, frequency),
    ]
    for degrees in (0.0, 60.0):
        found = solve(stack=stack, frequency_hz=frequency, cosine=np.cos(np.radians(degrees)))
        index = [1.0, *(np.sqrt(np.conj(item.permittivity[0])) for item in stack), 1.0]
        widths = [np.inf, *(float(item.thickness_m) for item in stack), np.inf]
        for column, name in enumerate("sp"):
            other = tmm.coh_tmm(name, index, widths, np.radians(degrees), C_M_S / frequency)
            assert loss(found)[0, 0, column] > 100.0
            assert loss(found)[0, 0, column] == pytest.approx(-10 * np.log10(other["T"]), abs=1e-6)


def test_cavity_is_the_mean_over_the_spacing():
    """In power across a cavity = the coherent result averaged over half a wavelength of width."""
    frequency, degrees = np.array([2.45e9]), 40.0
    cosine = np.cos(np.radians(degrees))
    near = [sheet(20.0), layer("plasterboard", 0.0127, frequency)]
    far = [layer("plywood", 0.011, frequency), sheet(50.0)]
    air = np.array([1.0 + 0j])
    half_wave = C_M_S / frequency[0] / 2 / cosine
    spacings = 0.08 + half_wave * (np.arange(64) + 0.5) / 64
    gap = Dielectric(thickness_m=spacings, permittivity=air)
    coherent = solve(stack=[*near, gap, *far], frequency_hz=frequency, cosine=cosine)
    assert coherent.transmission.shape == (64, 1, 1, 2)
    mixed = solve(
        stack=[*near, Cavity(thickness_m=0.089, permittivity=air), *far],
        frequency_hz=frequency,
        cosine=cosine,
    )
    assert mixed.transmission == pytest.approx(coherent.transmission.mean(axis=0), rel=1e-10)
    assert mixed.front_reflection == pytest.approx(
        coherent.front_reflection.mean(axis=0), rel=1e-10
    )
    assert mixed.back_reflection == pytest.approx(coherent.back_reflection.mean(axis=0), rel=1e-10)


def test_two_sheets_over_half_a_wave():
    """44.6 dB between the coherent 52.2 and 31.7 dB (computed apart, three digits)."""
    cavity = Cavity(thickness_m=0.1, permittivity=np.array([1.0 + 0j]))
    found = solve(stack=[sheet(10.0), cavity, sheet(10.0)], frequency_hz=2.45e9, cosine=1.0)
    assert loss(found)[0, 0, 0] == pytest.approx(44.6, abs=0.05)


def test_filled_cavity_only_loses():
    """8.686 k0 d Im √ε for a fill of 1.2 − j0.01, once, and no reflection."""
    frequency = 2.45e9
    fill = Cavity(thickness_m=0.089, permittivity=np.array([1.2 - 0.01j]))
    alone = solve(stack=[fill], frequency_hz=frequency, cosine=1.0)
    expected = 20 / np.log(10) * 2 * np.pi * frequency / C_M_S * 0.089 * 0.0045643148
    assert loss(alone)[0, 0, 0] == pytest.approx(expected, rel=1e-6)
    assert np.all(alone.front_reflection == 0.0)


def test_blocks_multiply_and_reflect_by_turns():
    """10 dB reflecting 0.3, then a sheet: T multiplied, R = R1 + T1² R2 from each side."""
    block = Block(loss_db=np.array([10.0]), reflects=np.array([0.3]))
    bare = solve(stack=[sheet(50.0)], frequency_hz=1e9, cosine=[1.0, 0.5])
    both = solve(stack=[block, sheet(50.0)], frequency_hz=1e9, cosine=[1.0, 0.5])
    assert both.transmission == pytest.approx(0.1 * bare.transmission)
    assert both.front_reflection == pytest.approx(0.3 + 0.01 * bare.front_reflection)
    assert both.back_reflection == pytest.approx(bare.back_reflection + bare.transmission**2 * 0.3)
    turned = solve(stack=[sheet(50.0), block], frequency_hz=1e9, cosine=[1.0, 0.5])
    assert turned.back_reflection == pytest.approx(both.front_reflection)
    alone = solve(stack=[block], frequency_hz=[1e9, 2e9], cosine=[1.0])
    assert alone.transmission.shape == (2, 1, 2)
    assert alone.front_absorption == pytest.approx(np.full((2, 1, 2), 0.6))


def test_an_order_of_blocks_does_not_matter_to_what_passes():
    blocks = [
        Block(loss_db=np.array([x]), reflects=np.array([r]))
        for x, r in ((3.0, 0.2), (6.0, 0.5), (1.0, 0.1))
    ]
    forth = solve(stack=blocks, frequency_hz=1e9, cosine=1.0)
    back = solve(stack=reversed_stack(blocks), frequency_hz=1e9, cosine=1.0)
    assert loss(forth)[0, 0] == pytest.approx([10.0, 10.0], abs=1e-12)
    assert forth.transmission == pytest.approx(back.transmission, rel=1e-14)
    assert forth.front_reflection == pytest.approx(back.back_reflection, rel=1e-14)


def test_polarization_dependent_sheet():
    both = Sheet(impedance_ohm=np.array([10 + 0j]), impedance_tm_ohm=np.array([40 + 5j]))
    found = solve(stack=[both], frequency_hz=1e9, cosine=0.7).transmission[0, 0]
    te = solve(stack=[sheet(10.0)], frequency_hz=1e9, cosine=0.7).transmission[0, 0, 0]
    tm = solve(stack=[sheet(40 + 5j)], frequency_hz=1e9, cosine=0.7).transmission[0, 0, 1]
    assert found == pytest.approx([te, tm], rel=1e-15)


def test_draws_are_a_leading_axis():
    """A stack of draws gives what each draw gives by itself."""
    frequency, cosine = np.array([1e9, 3e9]), np.array([0.9, 0.3])
    widths = np.array([0.10, 0.20, 0.15])
    resistances = np.array([[5.0], [6.0], [7.0]])
    permittivity, _ = material_permittivity(material="brick", frequency_hz=frequency)
    many = solve(
        stack=[
            Sheet(impedance_ohm=resistances + 0j),
            Dielectric(thickness_m=widths, permittivity=permittivity),
        ],
        frequency_hz=frequency,
        cosine=cosine,
    )
    assert many.transmission.shape == (3, 2, 2, 2)
    for draw in range(3):
        one = solve(
            stack=[
                Sheet(impedance_ohm=resistances[draw] + 0j),
                Dielectric(thickness_m=widths[draw], permittivity=permittivity),
            ],
            frequency_hz=frequency,
            cosine=cosine,
        )
        assert many.transmission[draw] == pytest.approx(one.transmission, rel=1e-14)


def test_shared_items_are_worked_out_once_and_alike():
    frequency = np.array([2e9])
    board = layer("plasterboard", 0.0127, frequency)
    stacks = [[board], [sheet(5.0), board], [board, board]]
    many = solve_many(stacks=stacks, frequency_hz=frequency, cosine=[0.8])
    for stack, found in zip(stacks, many, strict=True):
        single = solve(stack=stack, frequency_hz=frequency, cosine=[0.8])
        assert np.array_equal(found.transmission, single.transmission)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Dielectric(thickness_m=-0.1, permittivity=[2 + 0j]), "layer thickness is -0.1 m"),
        (lambda: Dielectric(thickness_m=0.1, permittivity=[0.5 + 0j]), "1 or more"),
        (lambda: Dielectric(thickness_m=0.1, permittivity=[2 + 0.1j]), "gives energy"),
        (lambda: Cavity(thickness_m=np.nan, permittivity=[1 + 0j]), "cavity width"),
        (lambda: Sheet(impedance_ohm=[0j]), "must not be zero"),
        (lambda: Sheet(impedance_ohm=[-1 + 1j]), "not negative"),
        (lambda: Block(loss_db=[-3.0], reflects=[0.0]), "loss is -3 dB"),
        (lambda: Block(loss_db=[0.2], reflects=[0.1]), "more comes out"),
        (lambda: Block(loss_db=[30.0], reflects=[1.1]), "from 0 to 1"),
        (lambda: solve(stack=[], frequency_hz=1e9, cosine=0.0), "cosine of incidence is 0"),
        (lambda: solve(stack=[], frequency_hz=1e6, cosine=1.0), "30 MHz"),
    ],
)
def test_bad_input(make, says):
    with pytest.raises(RangeError, match=says):
        make()
