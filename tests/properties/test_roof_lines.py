"""Roofs whose lines fall on one another, turned off the axes: nothing refused, all areas right.

The closed forms here share nothing with the package: the plan is split, while it still lies square,
along every line on which the highest ceiling may change, and over each convex part of it the
ceiling is one plane.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from envelope.building.model import Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import CeilingSpec, DormerSpec, SpaceSpec
from envelope.geometry.plane import area_vector, frozen

CONSTRUCTION = {"exterior-wall": "w", "interior-wall": "i", "floor": "f", "roof": "r"}
ALONG_Y = 0.5 * math.pi


def rectangle(x0, y0, x1, y1):
    return frozen([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def box(corners):
    return (*corners.min(axis=0).tolist(), *corners.max(axis=0).tolist())


def roof(rng):
    """A room with a dormer and two chimneys, most of whose edges lie on other lines."""
    length, width = rng.uniform(4.0, 9.0), rng.uniform(3.0, 6.0)
    eaves, rise = rng.choice([0.0, rng.uniform(0.2, 2.0)]), rng.uniform(1.0, 4.0)
    shape = str(rng.choice(["shed", "gable", "hipped"]))
    flat = eaves + rise * rng.uniform(0.3, 0.9) if rng.random() < 0.5 else None
    run = {"shed": width, "gable": 0.5 * width, "hipped": 0.5 * min(length, width)}[shape]
    kink = run if flat is None else run * (flat - eaves) / rise  # where the level part begins
    kink = max(kink, 0.15 * width)
    start, end = (
        float(rng.choice([share * length, limit]))
        for share, limit in ((rng.uniform(0.1, 0.3), 0.0), (rng.uniform(0.6, 0.9), length))
    )
    back = float(rng.choice([0.5 * width, kink, 0.45 * width]))
    height = float(rng.choice([eaves + 0.7 * rise, eaves + rise, flat or eaves + 0.5 * rise]))
    own = str(rng.choice(["flat", "gable", "hipped"]))
    top = float(rng.choice([height + 0.3, max(eaves + rise, height + 0.2)]))
    dormer = DormerSpec(
        id="N1",
        corners=rectangle(start, float(rng.choice([0.0, 0.05])) * width, end, back),
        height_m=height,
        ceiling=CeilingSpec(
            shape=own, direction_rad=ALONG_Y, ridge_m=None if own == "flat" else top
        ),
    )
    first = float(rng.choice([0.5 * (start + end), 0.5 * length, 0.35 * length]))
    edge = min(float(rng.choice([0.5 * width, back, kink])), 0.8 * width)
    second = rng.uniform(0.7, 0.9) * length
    return SpaceSpec(
        id="room",
        storey="g",
        corners=rectangle(0.0, 0.0, length, width),
        height_m=eaves,
        ceiling=CeilingSpec(
            shape=shape,
            direction_rad=ALONG_Y if shape == "shed" else 0.0,
            ridge_m=eaves + rise,
            flat_m=flat,
        ),
        dormers=(dormer,) if rng.random() < 0.7 else (),
        hollows=(
            rectangle(first, edge, first + 0.3, edge + 0.2),
            rectangle(second, edge - 0.25, second + 0.2, edge),
        ),
    )


def planes(ceiling, low, corners):
    """Planes (k, 3) of a ceiling over a square outline, from what the shapes mean."""
    x0, y0, x1, y1 = box(corners)
    top = low if ceiling.ridge_m is None else ceiling.ridge_m
    sides = {"x": [(1.0, 0.0, -x0), (-1.0, 0.0, x1)], "y": [(0.0, 1.0, -y0), (0.0, -1.0, y1)]}
    if ceiling.shape == "flat":
        return np.array([(0.0, 0.0, low)])
    if ceiling.shape == "shed":
        rising, run = sides["y"][:1], y1 - y0
    elif ceiling.shape == "hipped":
        rising, run = sides["x"] + sides["y"], 0.5 * min(x1 - x0, y1 - y0)
    elif ceiling.direction_rad == 0.0:
        rising, run = sides["y"], 0.5 * (y1 - y0)
    else:
        rising, run = sides["x"], 0.5 * (x1 - x0)
    found = (top - low) / run * np.array(rising) + (0.0, 0.0, low)
    return found if ceiling.flat_m is None else np.vstack((found, (0.0, 0.0, ceiling.flat_m)))


def split(cell, line):
    """The parts of a convex polygon (n, 2) on both sides of ``a·x + b·y + c = 0``."""
    off = cell @ line[:2] + line[2]
    if off.min() > -1e-12 or off.max() < 1e-12:
        return [cell]
    parts = []
    for sign in (1.0, -1.0):
        corners = []
        for index, corner in enumerate(cell):
            after = (index + 1) % len(cell)
            if sign * off[index] >= 0.0:
                corners.append(corner)
            if off[index] * off[after] < 0.0:
                share = off[index] / (off[index] - off[after])
                corners.append(corner + share * (cell[after] - corner))
        parts.append(np.array(corners))
    return parts


def within(spot, corners):
    x0, y0, x1, y1 = box(corners)
    return x0 < spot[0] < x1 and y0 < spot[1] < y1


def closed_forms(spec):
    """Volume, ceiling area, floor area, and the area under the dormer's own ceiling in plan."""
    sheets = [(spec.corners, planes(spec.ceiling, spec.height_m, spec.corners))]
    sheets += [(d.corners, planes(d.ceiling, d.height_m, d.corners)) for d in spec.dormers]
    lines = []
    for corners in (*(d.corners for d in spec.dormers), *spec.hollows):
        x0, y0, x1, y1 = box(corners)
        lines += [(1.0, 0.0, -x0), (1.0, 0.0, -x1), (0.0, 1.0, -y0), (0.0, 1.0, -y1)]
    every = np.concatenate([sheet for _, sheet in sheets])
    for index, plane in enumerate(every):
        for other in every[:index]:
            slope = np.hypot(*(plane - other)[:2])
            if slope > 1e-12:
                lines.append(tuple((plane - other) / slope))
    cells = [np.array(spec.corners)]
    for line in lines:
        cells = [part for cell in cells for part in split(cell, np.array(line))]
    totals = np.zeros(4)
    for cell in cells:
        fan = cell[1:] - cell[0]
        areas = 0.5 * (fan[:-1, 0] * fan[1:, 1] - fan[:-1, 1] * fan[1:, 0])
        if areas.sum() < 1e-16:
            continue
        spot = cell[0] + (areas @ (fan[:-1] + fan[1:])) / (3.0 * areas.sum())
        if any(within(spot, hollow) for hollow in spec.hollows):
            continue
        over = [sheet for corners, sheet in sheets if within(spot, corners)]
        lowest = [sheet[np.argmin(sheet @ (*spot, 1.0))] for sheet in over]
        highest = max(
            range(len(lowest)), key=lambda index: lowest[index] @ (*spot, 1.0) - index * 1e-9
        )
        plane = lowest[highest]
        area = float(areas.sum())
        totals += area * np.array(
            [plane @ (*spot, 1.0), math.sqrt(1.0 + plane[:2] @ plane[:2]), 1.0, highest > 0]
        )
    return totals


def turned(spec, angle):
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])

    def ceiling(of):
        return replace(of, direction_rad=of.direction_rad + angle)

    return replace(
        spec,
        corners=frozen(spec.corners @ turn.T),
        ceiling=ceiling(spec.ceiling),
        dormers=tuple(
            replace(item, corners=frozen(item.corners @ turn.T), ceiling=ceiling(item.ceiling))
            for item in spec.dormers
        ),
        hollows=tuple(frozen(hollow @ turn.T) for hollow in spec.hollows),
    )


def built(spec):
    return build_building(
        site=Site(),
        storeys=[Storey(id="g", floor_m=0.0)],
        spaces=[spec],
        construction=CONSTRUCTION,
    )


@pytest.mark.parametrize("seed", range(48))
def test_no_turn_changes_volume_or_areas(seed):
    rng = np.random.default_rng([20, seed])
    spec = roof(rng)
    *expected, raised_m2 = closed_forms(spec)
    if raised_m2 == 0.0:  # the dormer lies within the roof: without it, all the same
        spec = replace(spec, dormers=())
    for angle in (0.0, rng.uniform(-3.0, 3.0)):
        building = built(turned(spec, angle))
        ceilings = sum(panel.area_m2 for panel in building.panels if panel.kind == "ceiling")
        got = [building.spaces[0].volume_m3, ceilings, building.panel("room/floor").area_m2]
        assert got == pytest.approx(expected, abs=1e-9)
        vectors = [
            area_vector(ring) * np.sign(area_vector(ring) @ panel.normal) * sign
            for panel in building.panels
            for sign, ring in ((1.0, panel.outline), *((-1.0, hole) for hole in panel.holes))
        ]
        assert np.abs(np.sum(vectors, axis=0)).max() < 1e-9
