"""Published reference levels for the general public, as lines to compare with. Nothing more.

- ICNIRP 2020, Health Physics 118(5), 483–524, Table 5: whole body, averaged over 30 min. Seen in
  a public source that quotes the table.
- 47 CFR 1.1310, Table 1 to paragraph (e)(1), part (B), uncontrolled exposure, averaged over
  30 min. Seen in copies of the rule.

A piece is (lowest_mhz, highest_mhz, scale, exponent): power density scale·f^exponent in W/m²,
f in MHz. Where two pieces meet they agree.
"""

from __future__ import annotations

from typing import Final

__all__ = ["LINES", "SOURCES"]

SOURCES: Final[dict[str, str]] = {
    "icnirp-2020": "ICNIRP 2020, general public, whole body (Table 5)",
    "fcc": "47 CFR 1.1310, general population (Table 1(B))",
}

LINES: Final[dict[str, tuple[tuple[float, float, float, float], ...]]] = {
    "icnirp-2020": (
        (30.0, 400.0, 2.0, 0.0),
        (400.0, 2000.0, 1.0 / 200.0, 1.0),
        (2000.0, 300_000.0, 10.0, 0.0),
    ),
    "fcc": (
        (30.0, 300.0, 2.0, 0.0),
        (300.0, 1500.0, 10.0 / 1500.0, 1.0),
        (1500.0, 100_000.0, 10.0, 0.0),
    ),
}
