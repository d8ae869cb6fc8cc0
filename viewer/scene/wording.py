"""Words and numbers as people read them on pictures and screens."""

from __future__ import annotations

import math
import unicodedata

from envelope.exposure.results import ReceiverResult
from envelope.text import SPACE, frequency, percent

__all__ = ["decibels", "frequency", "headline", "percent", "shown", "source_label", "steradians"]

WORSE_DB = 0.5  # from which a plan is said to make a level worse


def shown(name: str, *, limit: int = 48) -> str:
    """A name from a file, fit for a label: one line, no invisible marks, not endless."""
    plain = "".join(
        " " if character.isspace() else character
        for character in name
        if character.isspace() or not unicodedata.category(character).startswith("C")
    )
    plain = " ".join(plain.split())
    return plain if len(plain) <= limit else plain[: limit - 1].rstrip() + "…"


def decibels(value_db: float) -> str:
    """A loss or a reduction, with a proper minus sign; a tight one has no number."""
    if math.isinf(value_db):
        return "nothing passes" if value_db > 0 else "no limit"
    # adding zero takes the sign off a loss that rounds to nothing
    return f"{round(value_db, 1) + 0.0:.1f}{SPACE}dB".replace("-", "−")


def steradians(value_sr: float) -> str:
    """A solid angle with three figures that matter."""
    if value_sr == 0.0:
        return f"0{SPACE}sr"
    if abs(value_sr) < 0.001:
        return f"<{SPACE}0.001{SPACE}sr"
    return f"{value_sr:.{2 if abs(value_sr) >= 0.1 else 3}f}{SPACE}sr"


def source_label(
    *, name: str, azimuth_rad: float | None, elevation_rad: float, space: str | None = None
) -> str:
    """Such as ``mast, azimuth 231°, 4° up``, or ``router in kitchen``."""
    if azimuth_rad is None:
        return shown(name) if space is None else f"{shown(name)} in {shown(space, limit=24)}"
    turned = round(math.degrees(azimuth_rad)) % 360
    rise = round(math.degrees(elevation_rad))
    height = "level" if rise == 0 else f"{abs(rise)}° {'up' if rise > 0 else 'down'}"
    return f"{shown(name)}, azimuth {turned}°, {height}"


def headline(*, plan: str, result: ReceiverResult | None) -> tuple[str, ...]:
    """Plan, reduction and unshielded solid angle in parts of one line, with a warning if due."""
    if result is None or not result.bands:
        return (shown(plan),)
    band = result.bands[0]
    parts = (
        shown(plan),
        f"predicted reduction {decibels(band.isotropic_reduction_db)}",
        f"unshielded {steradians(band.unshielded_solid_angle_sr)}",
    )
    before = sum(
        source.level_w_m2 * 10.0 ** (source.below_as_built_db / 10.0)
        for source in result.sources
        if math.isfinite(source.below_as_built_db)
    )
    if before > 0.0 and 10.0 * math.log10(result.level_w_m2 / before) >= WORSE_DB:
        return (*parts, "level worse than as built")
    return parts
