"""Frequency bands of radio services by the names under which people know them.

Of cellular services the downlink is what a mast sends. Cellular limits follow the operating bands
of 3GPP TS 38.101-1 and TS 36.101, Table 5.2-1, which share their numbering; they were checked
against the channel numbers of a public 5G library. Other services name their rule; where a row says
so, its limits are from memory and were not checked.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = [
    "BY_NAME",
    "SERVICES",
    "Service",
    "plain",
    "service_named",
]

_CELLULAR: Final = "3GPP TS 38.101-1 / TS 36.101, Table 5.2-1"
_MEMORY: Final = "from memory, unverified"


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """One service: what it sends in, and where that is laid down."""

    name: str
    low_hz: float
    high_hz: float
    sender: str  # "mast", "router", "cordless base", "meter", "device", "broadcast"
    source: str
    note: str = ""  # what to know of its level

    @property
    def band_hz(self) -> tuple[float, float]:
        """Both ends of its band."""
        return self.low_hz, self.high_hz


def _of(
    name: str,
    low_mhz: float,
    high_mhz: float,
    sender: str,
    source: str,
    note: str = "",
) -> Service:
    return Service(
        name=name,
        low_hz=low_mhz * 1e6,
        high_hz=high_mhz * 1e6,
        sender=sender,
        source=source,
        note=note,
    )


def _cell(name: str, low_mhz: float, high_mhz: float, band: str) -> Service:
    return _of(name, low_mhz, high_mhz, "mast", f"{_CELLULAR}, {band}")


_BURSTS: Final = "sends in bursts: a meter's peak lies far above the average that counts here"
_MEMORY_OF_US: Final = f"47 CFR 15.247; {_MEMORY}"

SERVICES: Final[tuple[Service, ...]] = (
    _cell("LTE 600", 617.0, 652.0, "band 71 downlink"),
    _cell("LTE 700", 758.0, 803.0, "band 28 downlink"),
    _cell("LTE 700 US", 729.0, 768.0, "bands 12, 13 and 14 downlink, from end to end"),
    _cell("LTE 800", 791.0, 821.0, "band 20 downlink"),
    _cell("LTE 850", 869.0, 894.0, "band 5 downlink"),
    _cell("GSM 900", 925.0, 960.0, "band 8 downlink"),
    _cell("LTE 900", 925.0, 960.0, "band 8 downlink"),
    _cell("GSM 1800", 1805.0, 1880.0, "band 3 downlink"),
    _cell("LTE 1800", 1805.0, 1880.0, "band 3 downlink"),
    _cell("LTE 1900", 1930.0, 1995.0, "band 25 downlink"),
    _cell("LTE 2100", 2110.0, 2170.0, "band 1 downlink"),
    _cell("LTE AWS", 2110.0, 2200.0, "band 66 downlink"),
    _cell("LTE 2300", 2300.0, 2400.0, "band 40"),
    _cell("LTE 2600", 2620.0, 2690.0, "band 7 downlink"),
    _cell("LTE 2600 TDD", 2570.0, 2620.0, "band 38"),
    _cell("5G 600", 617.0, 652.0, "band n71 downlink"),
    _cell("5G 700", 758.0, 803.0, "band n28 downlink"),
    _cell("5G 2100", 2110.0, 2170.0, "band n1 downlink"),
    _cell("5G 2500", 2496.0, 2690.0, "band n41"),
    _cell("5G 3500", 3300.0, 3800.0, "band n78"),
    _cell("5G 3700", 3300.0, 4200.0, "band n77"),
    _cell("5G 4700", 4400.0, 5000.0, "band n79"),
    _of("5G 26 GHz", 24_250.0, 27_500.0, "mast", f"3GPP TS 38.101-2, band n258; {_MEMORY}"),
    _of("5G 28 GHz", 26_500.0, 29_500.0, "mast", f"3GPP TS 38.101-2, band n257; {_MEMORY}"),
    _of("Wi-Fi 2.4", 2400.0, 2483.5, "router", f"{_MEMORY_OF_US}; ETSI EN 300 328", _BURSTS),
    _of(
        "Wi-Fi 5",
        5150.0,
        5850.0,
        "router",
        f"47 CFR 15.407, from U-NII-1 (checked) to U-NII-3 ({_MEMORY})",
        _BURSTS,
    ),
    _of("Wi-Fi 6", 5925.0, 7125.0, "router", f"47 CFR 15.407; {_MEMORY}", _BURSTS),
    _of("Bluetooth", 2400.0, 2483.5, "device", _MEMORY_OF_US, _BURSTS),
    _of("Zigbee", 2405.0, 2480.0, "device", f"IEEE 802.15.4; {_MEMORY}", _BURSTS),
    _of(
        "DECT",
        1880.0,
        1900.0,
        "cordless base",
        "ETSI EN 301 406; CEPT T/R 22-02",
        "an idle base sends in one slot of 24, so its average lies 14 dB below its peak",
    ),
    _of("DECT US", 1920.0, 1930.0, "cordless base", "47 CFR 15 subpart D", _BURSTS),
    _of("smart meter 868", 863.0, 870.0, "meter", f"ETSI EN 300 220; {_MEMORY}", _BURSTS),
    _of("smart meter 915", 902.0, 928.0, "meter", _MEMORY_OF_US, _BURSTS),
    _of("TETRA", 380.0, 400.0, "mast", f"CEPT; {_MEMORY}"),
    _of("FM", 87.5, 108.0, "broadcast", f"ITU Radio Regulations; {_MEMORY}"),
    _of("UHF TV", 470.0, 694.0, "broadcast", f"ITU Radio Regulations; {_MEMORY}"),
)
BY_NAME: Final = {service.name: service for service in SERVICES}


def plain(name: str) -> str:
    """A service's name without capitals, blanks, hyphens and units, for comparison.

    Examples
    --------
    >>> plain("WiFi 2.4 GHz") == plain("Wi-Fi 2.4"), plain("lte1800")
    (True, 'lte1800')
    """
    short = name.lower().removesuffix("ghz").removesuffix("mhz")
    return "".join(sign for sign in short if sign.isalnum() or sign == ".")


def service_named(name: str) -> Service | None:
    """A service by its name, however capitals, blanks and hyphens stand in it."""
    wanted = plain(name)
    return next((each for each in SERVICES if plain(each.name) == wanted), None)
