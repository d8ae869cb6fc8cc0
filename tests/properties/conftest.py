"""The independent answer to what an eye sees: every panel projected on the target's plane.

Nothing here is shared with the package but the panels themselves: clipping by shapely, solid
angles by the spherical excess of triangles.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely

from envelope.building.model import Panel, Space

Visibility = Callable[[Space, np.ndarray], dict[str, float]]


def _excess(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> float:
    """Area of a spherical triangle from its sides (L'Huilier)."""

    def side(p: np.ndarray, q: np.ndarray) -> float:
        return float(2.0 * np.arctan2(np.linalg.norm(p - q), np.linalg.norm(p + q)))

    u, v, w = side(b, c), side(c, a), side(a, b)
    s = 0.5 * (u + v + w)
    product = np.tan(s / 2) * np.prod([np.tan(max(s - x, 0.0) / 2) for x in (u, v, w)])
    return float(4.0 * np.arctan(np.sqrt(max(product, 0.0))))


def _solid_angle(shape: shapely.Geometry, lift: Callable, eye: np.ndarray) -> float:
    total = 0.0
    for part in shapely.get_parts(shapely.constrained_delaunay_triangles(shape)):
        corners = lift(shapely.get_coordinates(part)[:3]) - eye
        corners = corners / np.linalg.norm(corners, axis=1)[:, np.newaxis]
        total += _excess(*corners)
    return total


def _kept_below(ring: np.ndarray, heights: np.ndarray, limit: float) -> np.ndarray:
    """The part of a ring whose heights are at most a limit."""
    kept = []
    for k in range(len(ring)):
        here, there = heights[k - 1] - limit, heights[k] - limit
        if (here <= 0.0) != (there <= 0.0):
            kept.append(ring[k - 1] + (ring[k] - ring[k - 1]) * (here / (here - there)))
        if there <= 0.0:
            kept.append(ring[k])
    return np.array(kept).reshape(-1, 3)


def _shadow(panel: Panel, target: Panel, eye: np.ndarray) -> shapely.Geometry:
    """Shadow of a panel on the target's plane, in the target's frame, light at the eye.

    What stands almost as high over the plane as the eye throws its shadow beyond any room, as long
    as it keeps 0.1 m off the eye: it is clipped, so that no coordinate grows past all measure.
    """
    top = float((eye - target.frame.origin) @ target.normal)

    def cast(ring: np.ndarray) -> np.ndarray | None:
        for sign, limit in ((1.0, top * (1.0 - 1e-3)), (-1.0, 0.0)):
            heights = sign * ((ring - target.frame.origin) @ target.normal)
            ring = _kept_below(ring, heights, limit)
            if len(ring) < 3:
                return None
        heights = (ring - target.frame.origin) @ target.normal
        reach = top / (top - heights)
        return target.frame.flatten(eye + (ring - eye) * reach[:, np.newaxis])

    outline = cast(panel.outline)
    if outline is None:
        return shapely.Polygon()
    holes = [flat for flat in map(cast, panel.holes) if flat is not None]
    return shapely.make_valid(shapely.Polygon(outline).buffer(0)).difference(
        shapely.union_all([shapely.Polygon(hole).buffer(0) for hole in holes])
    )


def visible(space: Space, eye: np.ndarray) -> dict[str, float]:
    """Solid angle that each panel of a space shows to an eye inside it, what hides it cut off."""
    found = {}
    for target in space.panels:
        top = float((eye - target.frame.origin) @ target.normal)
        if top <= 1e-9:
            found[target.id] = 0.0
            continue
        flat = shapely.Polygon(
            target.frame.flatten(target.outline),
            [target.frame.flatten(hole) for hole in target.holes],
        )
        shadows = []
        for panel in space.panels:
            heights = (panel.outline - target.frame.origin) @ target.normal
            facing = (eye - panel.frame.origin) @ panel.normal > 1e-9
            if panel is not target and facing and heights.max() > 1e-9 and heights.min() < top:
                shadow = _shadow(panel, target, eye).intersection(flat)
                if shadow.area > 0.0:
                    shadows.append(shadow)
        left = flat.difference(shapely.union_all(shadows)) if shadows else flat
        found[target.id] = sum(
            _solid_angle(part, target.frame.lift, eye)
            for part in shapely.get_parts(left)
            if part.geom_type == "Polygon" and part.area > 1e-14
        )
    return found


@pytest.fixture(scope="session")
def exact_visibility() -> Visibility:
    """``exact_visibility(space, eye)`` → solid angle by panel id. [sr]"""
    return visible
