"""Where a picture is taken from: parallel projection, fitted to what is shown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from envelope.building.model import OPENING_KINDS
from envelope.geometry.plane import Floats
from viewer.scene.records import Scene, ScenePanel

ELEVATION_RAD = math.radians(34.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Where the eye stands: project azimuth (clockwise from +y) and elevation."""

    azimuth_rad: float
    elevation_rad: float = ELEVATION_RAD

    @property
    def towards_eye(self) -> Floats:
        """Unit vector (3,) from what is shown to the eye."""
        level = math.cos(self.elevation_rad)
        return np.array(
            [
                level * math.sin(self.azimuth_rad),
                level * math.cos(self.azimuth_rad),
                math.sin(self.elevation_rad),
            ]
        )

    @property
    def right(self) -> Floats:
        """Unit vector (3,) to the picture's right; always level."""
        return np.array([-math.cos(self.azimuth_rad), math.sin(self.azimuth_rad), 0.0])

    @property
    def up(self) -> Floats:
        """Unit vector (3,) to the picture's top."""
        return np.cross(self.towards_eye, self.right)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Camera:
    """A view fitted to a picture of so many pixels."""

    view: View
    target_m: Floats  # (3,) in the picture's middle
    metres_per_pixel: float
    size: tuple[int, int]  # width, height [pixels]

    def project(self, points: Floats) -> Floats:
        """Pixels (n, 2) of points (n, 3), x to the right, y down."""
        local = np.atleast_2d(points) - self.target_m
        return np.column_stack(
            (
                self.size[0] / 2 + local @ self.view.right / self.metres_per_pixel,
                self.size[1] / 2 - local @ self.view.up / self.metres_per_pixel,
            )
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Margins:
    """Room left free around what is shown. [pixels]"""

    left: float
    right: float
    top: float
    bottom: float


def fit(*, points: Floats, view: View, size: tuple[int, int], margins: Margins) -> Camera:
    """Camera that shows points (n, 3) as large as the margins allow, in the middle of the rest."""
    across, upward = points @ view.right, points @ view.up
    free = (
        size[0] - margins.left - margins.right,
        size[1] - margins.top - margins.bottom,
    )
    scale = max(float(np.ptp(across)) / free[0], float(np.ptp(upward)) / free[1], 1e-6)
    middle = (
        view.right * (across.min() + across.max()) / 2
        + view.up * (upward.min() + upward.max()) / 2
        + view.towards_eye * float((points @ view.towards_eye).mean())
    )
    target = (
        middle
        + view.right * scale * (margins.right - margins.left) / 2
        + view.up * scale * (margins.top - margins.bottom) / 2
    )
    return Camera(view=view, target_m=target, metres_per_pixel=scale, size=size)


def unit_of(size: tuple[int, int]) -> float:
    """Size of type and margins in a picture: 1 at 1600 by 1100 pixels."""
    return math.sqrt(size[0] * size[1] / (1600 * 1100))


def best_view(*, scene: Scene, spaces: Sequence[str]) -> View:
    """The corner view that shows most openings, above all those to the outdoors.

    It depends on nothing but shapes: all plans, receivers and sources of a job are seen alike.
    """
    panels = [panel for panel in scene.panels if panel.space in spaces]
    first = _main_heading(panels)
    weights = np.array([_weight(panel) for panel in panels])
    normals = np.array([panel.normal for panel in panels])
    best: tuple[float, View] | None = None
    for quarter in range(4):
        for turn in (math.radians(37.0), math.radians(53.0)):
            view = View(azimuth_rad=(first + quarter * math.pi / 2 + turn) % math.tau)
            facing = np.clip(normals @ view.towards_eye, 0.0, 0.45)
            free = np.array([not _hidden(panel, panels, view) for panel in panels])
            score = float((weights * facing * (0.15 + 0.85 * free)).sum())
            if best is None or score > best[0] + 1e-9:
                best = (score, view)
    assert best is not None
    return best[1]


def _hidden(panel: ScenePanel, panels: Sequence[ScenePanel], view: View) -> bool:
    """Whether another wall that shows stands between a panel's middle and the eye."""
    for wall in panels:
        along = float(wall.normal @ view.towards_eye)
        if wall.kind != "wall" or along <= 1e-3 or wall is panel:
            continue
        reach = float((wall.centre_m - panel.centre_m) @ wall.normal) / along
        if reach <= 1e-3:
            continue
        met = panel.centre_m + reach * view.towards_eye
        low, high = wall.mesh.vertices.min(axis=0), wall.mesh.vertices.max(axis=0)
        if np.all(met >= low - 0.05) and np.all(met <= high + 0.05):
            return True
    return False


def _main_heading(panels: Sequence[ScenePanel]) -> float:
    """Azimuth of the largest upright panel's normal."""
    upright = [panel for panel in panels if abs(panel.normal[2]) < 0.1]
    if not upright:
        return 0.0
    largest = max(upright, key=lambda panel: panel.area_m2)
    return math.atan2(float(largest.normal[0]), float(largest.normal[1]))


def _weight(panel: ScenePanel) -> float:
    """How much it matters that a panel is seen."""
    if panel.kind not in OPENING_KINDS and panel.kind != "wall":
        return 0.0
    outer = 1.0 if "outdoors" in panel.behind else 0.3
    return outer * panel.area_m2 * (0.05 if panel.kind == "wall" else 1.0)
