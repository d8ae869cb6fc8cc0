"""What fills a hole: the leaf, the seams left open beside it, the reveals round it.

    door                      tilted window             window with a frame and a film edge
    ┌─── seam-head ───┐       ┌─── gap-head ────┐       ┌───── frame ─────┐
    │ ┌─────────────┐ │       │ ┌─────────────┐ │       │ ┌─ film-edge ─┐ │
    │s│             │s│       │g│             │g│       │ │ ┌─────────┐ │ │
    │e│    leaf     │e│       │a│    leaf     │a│       │ │ │  pane,  │ │ │
    │a│             │a│       │p│             │p│       │ │ │  filmed │ │ │
    │m│             │m│       │ │             │ │       │ │ └─────────┘ │ │
    └─┴─ undercut ──┴─┘       └─┴─────────────┴─┘       └─┴─────────────┴─┘

A sash tilted in by `tilt` opens that much at its head and a triangle on each side. Strips in the
plane of the leaf stand for them, of the same area: as high as the tilt at the head, and at each
side as wide as makes up the triangle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from envelope.building.model import Panel, PanelKind
from envelope.building.rooms.specs import FILM_EDGE, FRAME, OpeningSpec
from envelope.geometry.plane import Floats, area_vector
from envelope.geometry.polygons import WELD_M

THINNEST_M = 2.0 * WELD_M  # nothing is made that is no deeper or wider: corners are welded
REVEAL_NAMES = ("sill", "jamb-right", "head", "jamb-left")  # along the hole from its lower left


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cut:
    """One side of an opening: the hole in a panel and where its leaf hangs behind it.

    Outlines have four corners, or twelve where the opening is round.
    """

    spec: OpeningSpec
    host: Panel
    hole: Floats  # (n, 3) in the host's plane, from the lower left, counter-clockwise [m]
    mouth: Floats  # (n, 3) the hole without its ring
    leaf: Floats  # (n, 3) where the leaf hangs
    declared: bool  # False on the far side

    @property
    def id(self) -> str:
        return f"{self.host.space}/{self.spec.id}"

    @property
    def is_deep(self) -> bool:
        """Whether there are reveals between the mouth and the leaf."""
        return bool(np.linalg.norm(self.leaf - self.mouth, axis=1).max() > THINNEST_M)


def _narrowed(
    leaf: Floats, *, foot: float, right: float, head: float, left: float
) -> tuple[Floats, list[Floats]]:
    """A rectangle with strips of these widths taken off, and the strips in the same order.

    The strips at foot and head go from side to side, the others stand between them.
    """
    across, up = leaf[1] - leaf[0], leaf[3] - leaf[0]
    width, height = np.linalg.norm(across), np.linalg.norm(up)
    xs = np.array([0.0, left / width, 1.0 - right / width, 1.0])
    ys = np.array([0.0, foot / height, 1.0 - head / height, 1.0])

    def rectangle(x0: float, x1: float, y0: float, y1: float) -> Floats:
        shares = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        # Kept exactly where it was at the corners of the leaf.
        corners = leaf[0] + shares[:, :1] * across + shares[:, 1:] * up
        for corner, (x, y) in enumerate(shares):
            if x in (0.0, 1.0) and y in (0.0, 1.0):
                corners[corner] = leaf[(0, 1, 3, 2)[int(x) + 2 * int(y)]]
        return np.asarray(corners)

    inner = rectangle(xs[1], xs[2], ys[1], ys[2])
    strips = [
        rectangle(0.0, 1.0, 0.0, ys[1]),
        rectangle(xs[2], 1.0, ys[1], ys[2]),
        rectangle(0.0, 1.0, ys[2], 1.0),
        rectangle(0.0, xs[1], ys[1], ys[2]),
    ]
    return inner, strips


def _drawn_in(leaf: Floats, by: float) -> Floats:
    """An outline with each side moved inward; of a round one, towards its centre."""
    if len(leaf) == 4:
        return _narrowed(leaf, foot=by, right=by, head=by, left=by)[0]
    centre = leaf.mean(axis=0)
    apothem = float(np.linalg.norm(0.5 * (leaf[0] + leaf[1]) - centre))
    return np.asarray(centre + (leaf - centre) * (1.0 - by / apothem))


def _strip_widths(spec: OpeningSpec) -> dict[str, tuple[float, bool, str]]:
    """Strips by side: width, whether the opening's own material fills it, and name."""
    widths: dict[str, tuple[float, bool, str]] = {}
    if spec.tilt_m > 0.0:
        shut = spec.state != "tilted"
        side = 0.5 * spec.tilt_m * spec.height_m / (spec.height_m - spec.tilt_m)
        widths |= {
            "right": (side, shut, "gap-right"),
            "head": (spec.tilt_m, shut, "gap-head"),
            "left": (side, shut, "gap-left"),
        }
    if spec.seams_m > 0.0:
        widths |= {
            name: (spec.seams_m, False, f"seam-{name}") for name in ("right", "head", "left")
        }
        if spec.kind == "hatch":
            widths["foot"] = (spec.seams_m, False, "seam-foot")
    if spec.undercut_m > 0.0:
        widths["foot"] = (spec.undercut_m, False, "undercut")
    return widths


def filling(cut: Cut) -> list[Panel]:
    """Panels that close a hole: leaf, seams, reveals."""
    spec = cut.spec
    assembly = spec.assembly if cut.declared else None

    def panel(
        name: str,
        kind: PanelKind,
        outline: Floats,
        *holes: Floats,
        filled: bool = False,
        made_of: str | None = assembly,
    ) -> Panel:
        return Panel(
            id=f"{cut.id}/{name}",
            space=cut.host.space,
            kind=kind,
            outline=outline,
            holes=holes,
            host=cut.host.id,
            opening=cut.id,
            filled=filled,
            assembly=made_of if filled else None,
            title=spec.title,
        )

    leaf = cut.leaf
    seams: list[Panel] = []
    widths = _strip_widths(spec)
    if widths:
        sides = ("foot", "right", "head", "left")
        width_of = {side: widths[side][0] if side in widths else 0.0 for side in sides}
        leaf, strips = _narrowed(leaf, **width_of)
        for side, strip in zip(sides, strips, strict=True):
            if side in widths:
                _, filled, name = widths[side]
                seams.append(panel(name, "seam", strip, filled=filled))
    if spec.frame_m > 0.0:
        inner = _drawn_in(leaf, spec.frame_m)
        made_of = spec.frame_assembly if cut.declared else None
        seams.append(panel(FRAME, "seam", leaf, inner[::-1], filled=True, made_of=made_of))
        leaf = inner
    if spec.film_edge_m > 0.0:
        inner = _drawn_in(leaf, spec.film_edge_m)
        seams.append(panel(FILM_EDGE, "seam", leaf, inner[::-1], filled=True))
        leaf = inner
    if spec.ring_m > 0.0:
        seams.append(panel("ring", "seam", cut.hole, cut.mouth[::-1]))
    reveals: list[Panel] = []
    if cut.is_deep:
        count = len(cut.mouth)
        names = REVEAL_NAMES if count == 4 else [f"side-{index + 1}" for index in range(count)]
        for index, name in enumerate(names):
            following = (index + 1) % count
            near, deep = cut.mouth[[index, following]], cut.leaf[[following, index]]
            reveals.append(panel(name, "reveal", np.vstack((near, deep))))
    body = Panel(
        id=cut.id,
        space=cut.host.space,
        kind=spec.kind,
        outline=leaf,
        host=cut.host.id,
        assembly=assembly,
        stands_open=spec.state == "open",
        title=spec.title,
    )
    return [body, *seams, *reveals]


def niche_m3(cut: Cut) -> float:
    """Volume between the mouth and the leaf, which counts in the space's. [m³]"""
    depths = np.linalg.norm(cut.leaf - cut.mouth, axis=1)
    return float(np.linalg.norm(area_vector(cut.mouth)) * depths.mean())
