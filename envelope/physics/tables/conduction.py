"""Which building materials conduct enough at 50/60 Hz to hold an electric field back.

A sheet of admittance Y = σ t is an insulator below 1e-10 S per square and a conductor above 1e-6
(worked out with the general solver of jωQ + L φ = 0). Air-dry concrete has about 1e-4 S/m
(1e4 Ω·m, Concrete Society, seen quoted): 0.1 m of it is a conductor. Timber at 12 % moisture has
about 1e-8 S/m (1e10 Ω·cm, secondary source): 0.1 m of it lies between. For plasterboard
no value was found; dry boards on studs are taken as insulators.
"""

from __future__ import annotations

from typing import Final

__all__ = ["MASONRY", "MASONRY_LEAST_M", "METALS", "TIMBER", "TIMBER_LEAST_M"]

MASONRY: Final = frozenset(("concrete", "brick", "marble"))
TIMBER: Final = frozenset(("wood",))
METALS: Final = frozenset(
    ("metal", "silver", "copper", "aluminium", "zinc", "brass", "tin", "phosphor-bronze")
) | {"stainless-steel"}
MASONRY_LEAST_M: Final = 0.05
TIMBER_LEAST_M: Final = 0.04
