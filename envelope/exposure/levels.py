"""The level of one source at one place, put together from its parts. Every level is made here.

    level = (1 − s) S₀ T  +  s S₀/Ω · O      direct: the beam, and what arrives scattered
          + D_beam        +  s S₀/Ω · D_unit  diffuse, from either

S₀ is the level outside, T the beam's mean transmission, s the share that arrives scattered, Ω the
exposed and O the open-equivalent solid angle. Parts may have a leading axis of draws.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from envelope.building.job import Source
from envelope.geometry.plane import Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levels:
    """Direct and diffuse level of one source at one place, () or (draws,). [W/m²]"""

    direct_w_m2: Floats
    diffuse_w_m2: Floats

    @property
    def level_w_m2(self) -> Floats:
        """Both together."""
        return self.direct_w_m2 + self.diffuse_w_m2


def levels_of(
    source: Source,
    *,
    outside_w_m2: float,
    exposed_sr: float,
    transmission: Floats | float,
    open_equivalent_sr: Floats | float,
    from_beam_w_m2: Floats | float,
    from_scattered: Floats | float,
    scattered: Floats | float | None = None,
) -> Levels:
    """Direct and diffuse level of a source.

    Parameters
    ----------
    source : Source
        Says which share of it arrives scattered.
    outside_w_m2 : float
        Its level with every building removed. [W/m²]
    exposed_sr : float
        Exposed solid angle of the place. [sr]
    transmission : (...) float
        Mean over the source's cone.
    open_equivalent_sr : (...) float
        Of the place, in the source's band. [sr]
    from_beam_w_m2, from_scattered : (...) float
        Diffuse density of the room: see `envelope.exposure.diffuse.Diffuse`.
    scattered : (...) float, optional
        Share that arrives scattered, where it is drawn; else the source's.
    """
    share = source.scattered if scattered is None else scattered
    radiance = share * outside_w_m2 / exposed_sr if exposed_sr > 0.0 else 0.0
    direct = (1.0 - share) * outside_w_m2 * transmission
    return Levels(
        direct_w_m2=np.asarray(direct + radiance * open_equivalent_sr),
        diffuse_w_m2=np.asarray(from_beam_w_m2 + radiance * from_scattered),
    )
