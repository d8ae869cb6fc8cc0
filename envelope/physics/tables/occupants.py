"""Absorption cross-section of people, averaged over directions and polarizations. [m²]

G. C. R. Melia, M. P. Robinson, I. D. Flintoft, A. C. Marvin, J. F. Dawson, "Broadband
measurement of absorption cross-section of the human body in a reverberation chamber", IEEE
Trans. Electromagn. Compat. 55(6), 1199–1206, 2013: 0.18 to 0.45 m² for a 75 kg man over
1–8.5 GHz (the abstract was seen, not the paper). A Sabine absorption area, which others publish,
is four times as large. The middle value is our choice inside that range.
"""

from __future__ import annotations

from typing import Final

__all__ = ["CROSS_SECTION_HIGH_M2", "CROSS_SECTION_LOW_M2", "CROSS_SECTION_M2"]

CROSS_SECTION_LOW_M2: Final = 0.18
CROSS_SECTION_M2: Final = 0.30
CROSS_SECTION_HIGH_M2: Final = 0.45
