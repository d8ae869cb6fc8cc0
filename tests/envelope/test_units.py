"""Lengths as people write them, and every other quantity; expected values worked by hand."""

import math
import subprocess
import sys
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from envelope import units
from envelope.errors import UnitError
from envelope.text import lengths

FOUR_AND_A_HALF_INCHES_PAST_12_FT = 12 * 0.3048 + 4.5 * 0.0254  # 3.7719 m


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("12 ft 4 1/2 in", 3.7719),
        ("12 ft 4-1/2 in", 3.7719),
        ("12ft4in", 3.7592),
        ("12'4\"", 3.7592),
        ("12' 4\"", 3.7592),
        ("12'-4 1/2\"", 3.7719),
        ("12' - 4 1/2\"", 3.7719),
        ("12′ 4½″", 3.7719),
        ("12’4”", 3.7592),
        ("4''", 0.1016),
        ("12 feet 4 inches", 3.7592),
        ("12 ft. 4 in.", 3.7592),
        ("1 foot", 0.3048),
        ("1/2 in", 0.0127),
        ("½ in", 0.0127),
        ('3/4"', 0.01905),
        ("¾ in", 0.01905),
        ("2 ¼ in", 0.05715),
        ("1⁄8 in", 0.003175),
        ("4.5 in", 0.1143),
        ("3.6 m", 3.6),
        ("3600 mm", 3.6),
        ("360cm", 3.6),
        ("3 m 60 cm", 3.6),
        ("0.1 km", 100.0),
        ("12.7mm", 0.0127),
        ("9 µm", 9e-6),
        ("9 μm", 9e-6),
        ("1e3 mm", 1.0),
        (".5 m", 0.5),
        ("2.4\u00a0m", 2.4),
        ("-0.3 m", -0.3),
        ("−0.3 m", -0.3),
        ("- 1/2 in", -0.0127),
        ("-1 ft 6 in", -0.4572),
        ("+2 m", 2.0),
        ("0 m", 0.0),
    ],
)
def test_lengths(text: str, metres: float) -> None:
    assert units.parse_length(text) == metres


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("3.6", "has a number without a unit"),
        ("4 1/2", "has a number without a unit"),
        ("12'4", "has a number without a unit"),
        ("3,6 m", "has a comma between digits"),
        ("1,200 mm", "has a comma between digits"),
        ("inf m", "is not a length"),
        ("nan", "is not a length"),
        ("", "is not a length"),
        ("m", "is not a length"),
        ("--3 m", "is not a length"),
        ("12 ft, 4 in", "is not a length"),
        ("3.6 m and a bit", "is not a length"),
        ("3 furlongs", 'has the unknown unit "furlongs"'),
        ("3 m²", 'has the unknown unit "m²"'),
        ("4 in 12 ft", "do not go from the larger unit to the smaller"),
        ("3 m 2 in", "do not go from the larger unit to the smaller"),
        ("3 ft 2 ft", "do not go from the larger unit to the smaller"),
        ("12 ft 41/2 in", "is a blank missing in a fraction?"),
        ("3.5 ft 2 in", "has a fraction before its last part"),
        ("1/0 in", "has an impossible fraction"),
        ("4 3/2 in", "has an impossible fraction"),
        ("1e400 m", "has too many digits"),
        ("9" * 41 + " m", "has too many digits"),
        ("1e20 m", "is too large"),
        ("1 " * 150, "is too long"),
    ],
)
def test_lengths_refused(text: str, says: str) -> None:
    with pytest.raises(UnitError) as caught:
        units.parse_length(text)
    message = str(caught.value)
    assert says in message
    assert "\n" not in message
    assert len(message) < 240


def test_a_message_says_what_is_allowed() -> None:
    with pytest.raises(UnitError) as caught:
        units.parse_length("3.6")
    assert str(caught.value) == (
        '"3.6" has a number without a unit: write it such as "3.6 m" or "12 ft 4 1/2 in"'
    )


@given(st.integers(-(10**6), 10**6))
def test_feet_and_inches_come_back(sixteenths: int) -> None:
    exact = Fraction(sixteenths, 16) * Fraction("0.0254")
    text = lengths.format_feet_inches(float(exact))
    assert units.parse_length(text) == float(exact)


@given(st.floats(-1e5, 1e5).filter(lambda value: value == 0.0 or abs(value) > 1e-9))
def test_metres_come_back(value: float) -> None:
    assert units.parse_length(lengths.format_metres(value)) == value


@given(
    st.integers(0, 500),
    st.integers(0, 11),
    st.integers(0, 15),
    st.sampled_from([("ft ", " in"), ("'", '"'), ("' ", '"'), ("'-", '"'), ("′ ", "″")]),
)
def test_every_spelling_of_feet_and_inches_agrees(
    feet: int, inches: int, sixteenths: int, marks: tuple[str, str]
) -> None:
    foot, inch = marks
    text = f"{feet}{foot}{inches} {sixteenths}/16{inch}"
    total = Fraction(feet * 12 + inches) + Fraction(sixteenths, 16)
    assert units.parse_length(text) == float(total * Fraction("0.0254"))


@given(st.text(max_size=60))
def test_any_text_is_a_length_or_a_unit_error(text: str) -> None:
    for parse in (
        units.parse_length,
        units.parse_size,
        units.parse_point,
        units.parse_footprint,
        units.parse_walk,
        units.parse_angle,
        units.parse_band,
        units.parse_power_density,
        units.parse_power,
        units.parse_loss,
        units.parse_sheet_resistance,
        units.parse_conductivity,
        units.parse_money,
    ):
        message = ""
        try:
            parse(text)
        except UnitError as error:
            message = str(error)
        assert "\n" not in message


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("4.2 m x 3.6 m", (4.2, 3.6)),
        ("4.2 m × 3.6 m", (4.2, 3.6)),
        ("4.2 x 3.6 m", (4.2, 3.6)),
        ("4200x3600mm", (4.2, 3.6)),
        ("13 ft 6 in X 11 ft 8 in", (4.1148, 3.556)),
        ("12'×10'6\"", (3.6576, 3.2004)),
        ("4.2 m x 360 cm", (4.2, 3.6)),
    ],
)
def test_sizes(text: str, size: tuple[float, float]) -> None:
    assert units.parse_size(text) == size


def test_a_size_of_three() -> None:
    assert units.parse_size("0.9 m x 2.0 m x 0.3 m", count=3) == (0.9, 2.0, 0.3)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("4.2 m", "has 1 of 2 lengths"),
        ("4.2 m x 3.6", "has a number without a unit"),
        ("4.2 x 3.6", "has a number without a unit"),
        ("4,2 m x 3,6 m", "has a comma between digits"),
        ("1 m x 2 m x 3 m", "has 3 of 2 lengths"),
    ],
)
def test_sizes_refused(text: str, says: str) -> None:
    with pytest.raises(UnitError, match=says):
        units.parse_size(text)


@pytest.mark.parametrize(
    ("text", "point"),
    [
        ("0.6, 1.2, 0.7 m", (0.6, 1.2, 0.7)),
        ("-0.6,1.2,0.7m", (-0.6, 1.2, 0.7)),
        ("600 mm, 1.2 m, 70 cm", (0.6, 1.2, 0.7)),
        ("2 ft, 4 ft 2 in, 28 in", (0.6096, 1.27, 0.7112)),
        ("0, 4 ft, 28 in", (0.0, 1.2192, 0.7112)),
    ],
)
def test_points(text: str, point: tuple[float, ...]) -> None:
    assert units.parse_point(text) == point


def test_a_point_with_decimal_commas() -> None:
    with pytest.raises(UnitError, match=r"6 of 3 coordinates.*decimals take a point"):
        units.parse_point("0,6, 1,2, 0,7 m")


@pytest.mark.parametrize(
    "text",
    [
        "0,0  4.2,0  4.2,2.6 m",
        "0, 0  4.2, 0  4.2, 2.6 m",
        "0,0; 4.2,0; 4.2,2.6 m",
        "0,0; 4.2 m, 0; 420 cm, 2.6 m",
        "0,0 4200mm,0 4200mm,2600mm",
    ],
)
def test_footprints(text: str) -> None:
    assert units.parse_footprint(text) == ((0.0, 0.0), (4.2, 0.0), (4.2, 2.6))


def test_a_footprint_in_feet() -> None:
    assert units.parse_footprint("0,0 13'9\",0 13'9\",8'6\"") == (
        (0.0, 0.0),
        (4.191, 0.0),
        (4.191, 2.5908),
    )


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("0,0 4,2,0 4,3 m", 'corner 2 of ".*" is "4,2,0".*decimals take a point'),
        ("0,0 4 4,3 m", 'corner 2 of ".*" is "4"'),
        ("0,0 4,0 4,3", "has a number without a unit"),
    ],
)
def test_footprints_refused(text: str, says: str) -> None:
    with pytest.raises(UnitError, match=says):
        units.parse_footprint(text)


def test_walks() -> None:
    legs = units.parse_walk("E 13 ft 9 in; n 8'6\"; West 2.5 m; SW 1 m; S")
    assert [leg.name for leg in legs] == ["E", "N", "W", "SW", "S"]
    assert [leg.length_m for leg in legs] == [4.191, 2.5908, 2.5, 1.0, None]
    assert legs[0].direction == (1.0, 0.0)
    assert legs[3].direction == (-math.sqrt(0.5), -math.sqrt(0.5))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("E 3 m; X 2 m; S", 'leg 2 of the walk is "X 2 m": a leg is one of E, N, W, S, NE'),
        ("E 3 m; N; W 3 m; S", "leg 2 of the walk has no length: only the last leg"),
        ("E -3 m; N", "its length must be above 0"),
        ("E 3 m; N 4", "has a number without a unit"),
        ("E 3,5 m; N 4 m", "has a comma between digits"),
        ("", 'leg 1 of the walk is ""'),
    ],
)
def test_walks_refused(text: str, says: str) -> None:
    with pytest.raises(UnitError, match=says):
        units.parse_walk(text)


def test_angles() -> None:
    for text in ("15 deg", "15°", "15 degrees"):
        assert units.parse_angle(text) == pytest.approx(0.2617993877991494, abs=1e-16)
    assert units.parse_angle("-0.2 rad") == -0.2
    with pytest.raises(UnitError, match='"15" has no unit'):
        units.parse_angle("15")


@pytest.mark.parametrize(
    ("text", "band"),
    [
        ("1805-1880 MHz", (1.805e9, 1.88e9)),
        ("1805 – 1880 MHz", (1.805e9, 1.88e9)),
        ("1805 to 1880 mhz", (1.805e9, 1.88e9)),
        ("800 MHz - 1.9 GHz", (8e8, 1.9e9)),
        ("1e9-2e9 Hz", (1e9, 2e9)),
        ("2.45 GHz", (2.45e9, 2.45e9)),
        ("2400000 kHz", (2.4e9, 2.4e9)),
    ],
)
def test_bands(text: str, band: tuple[float, float]) -> None:
    assert units.parse_band(text) == band


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1880-1805 MHz", "has its ends swapped"),
        ("1805-1880", "has no unit"),
        ("1-2-3 GHz", "is not a band"),
        ("1805-1880 m", 'has the unknown unit "m"'),
        ("2,45 GHz", "has a comma between digits"),
    ],
)
def test_bands_refused(text: str, says: str) -> None:
    with pytest.raises(UnitError, match=says):
        units.parse_band(text)


@pytest.mark.parametrize(
    ("text", "w_m2"),
    [
        ("850 uW/m2", 8.5e-4),
        ("850 µW/m²", 8.5e-4),
        ("850 μW/m^2", 8.5e-4),
        ("3 mW/m2", 3e-3),
        ("10 W/m2", 10.0),
        ("5 nW/m2", 5e-9),
        ("1 mW/cm2", 10.0),
        ("-30 dBm/m2", 1e-6),
        ("0 dBm/m2", 1e-3),
    ],
)
def test_levels(text: str, w_m2: float) -> None:
    assert units.parse_power_density(text) == w_m2


# Plane wave, S = E²/Z0 with Z0 = 376.7303134 Ω (CODATA): worked with a calculator, no source.
@pytest.mark.parametrize(
    ("text", "uw_m2"), [("0.06 V/m", 9.555907427), ("1 V/m", 2654.41873), ("6 mV/m", 0.09555907427)]
)
def test_levels_from_field_strength(text: str, uw_m2: float) -> None:
    assert units.parse_power_density(text) * 1e6 == pytest.approx(uw_m2, rel=1e-9)


def test_levels_refused() -> None:
    with pytest.raises(UnitError, match=r"a level is in uW/m2, mW/m2, W/m2, V/m or dBm/m2"):
        units.parse_power_density("850 uW")
    with pytest.raises(UnitError, match="within ±300 dB"):
        units.parse_power_density("9999 dBm/m2")
    with pytest.raises(UnitError, match="is not a finite number"):
        units.parse_power_density("1e300 V/m")


def test_powers_losses_sheets_conductivities() -> None:
    assert units.parse_power("20 dBm") == pytest.approx(0.1, rel=1e-15)
    assert units.parse_power("100 mW") == 0.1
    assert units.parse_power("-3 dBW") == pytest.approx(0.5011872336272722, rel=1e-15)
    assert units.parse_loss("6 dB") == 6.0
    assert units.parse_loss("6.5db") == 6.5
    for text in ("5 ohm/sq", "5 Ω/sq", "5 \u2126/sq", "5 Ω/□", "5 ohms/square", "5000 mohm/sq"):
        assert units.parse_sheet_resistance(text) == 5.0
    assert units.parse_conductivity("58 MS/m") == 5.8e7
    for parse, text in (
        (units.parse_power, "20"),
        (units.parse_loss, "6"),
        (units.parse_sheet_resistance, "5"),
        (units.parse_conductivity, "5"),
    ):
        with pytest.raises(UnitError, match="has no unit"):
            parse(text)


@pytest.mark.parametrize(
    ("text", "amount", "currency", "unit"),
    [
        ("24 EUR/m2", "24", "EUR", "m2"),
        ("24.50 EUR / m²", "24.50", "EUR", "m2"),
        ("2.20 USD/ft2", "2.20", "USD", "ft2"),
        ("45 USD per gallon", "45", "USD", "gallon"),
        ("30 GBP/litre", "30", "GBP", "litre"),
        ("30 GBP/l", "30", "GBP", "litre"),
        ("2.20 USD/sqft", "2.20", "USD", "ft2"),
        ("2.20 USD per sq ft", "2.20", "USD", "ft2"),
        ("45 USD/gal", "45", "USD", "gallon"),
        ("99 CHF/roll", "99", "CHF", "roll"),
        ("7 EUR/piece", "7", "EUR", "piece"),
        ("3.10 EUR/m", "3.10", "EUR", "m"),
    ],
)
def test_money(text: str, amount: str, currency: str, unit: str) -> None:
    found = units.parse_money(text)
    assert (found.amount, found.currency, found.unit) == (Decimal(amount), currency, unit)


@pytest.mark.parametrize("text", ["24", "24 EUR", "24 eur/m2", "24 EUR/mile", "-24 EUR/m2"])
def test_money_refused(text: str) -> None:
    with pytest.raises(UnitError, match="is not a price"):
        units.parse_money(text)


def test_formatting() -> None:
    assert lengths.format_feet_inches(FOUR_AND_A_HALF_INCHES_PAST_12_FT) == "12 ft 4 1/2 in"
    assert lengths.format_feet_inches(0.0) == "0 in"
    assert lengths.format_feet_inches(-1e-6) == "0 in"
    assert lengths.format_feet_inches(0.3047999) == "1 ft"
    assert lengths.format_feet_inches(0.1, denominator=8) == "3 7/8 in"
    assert lengths.format_metres(3.7719, digits=2) == "3.77 m"
    assert lengths.format_point((0.60004, -0.0, 2.0)) == "0.6, 0, 2 m"


def test_importing_units_brings_no_pydantic() -> None:
    code = "import sys, envelope.units; print(sorted({'pydantic', 'numpy'} & set(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "[]"
