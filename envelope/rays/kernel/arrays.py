"""The arrays that compiled code reads, their columns and constants.

space ──> panels ──> patches ──> regions        each arrow is a range of rows of the next
   │         ├── outline and holes (edges)
   │         └── rectangles cut out of its box (cuts), or its sides, or its edges by bands
   └── tree of boxes over its panels; one more over all of them, for rays outdoors
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, SupportsInt, cast

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Boxes = NDArray[np.float32]  # half as much to read as float64, rounded outward
Ints = NDArray[np.int32]
Longs = NDArray[np.int64]
Bytes = NDArray[np.int8]
Words = NDArray[np.uint64]

# columns of `Tables.plane`: unit normal, its offset (normal·x on the plane), the two axes of the
# flat frame with what to take off to count from its origin, and the box of the outline in it
NORMAL, OFFSET = 0, 3
U, U_OFFSET = 4, 7
V, V_OFFSET = 8, 11
BOX = 12  # smallest a, smallest b, largest a, largest b

# columns of `Tables.panel`: what every ray reads that meets it comes first
PATCH = 0  # the first of its patches, mostly the only one
OUTERMOST = 1  # 1 where the whole building lies on the panel's inner side
PATCH_FROM, PATCH_TO = 2, 3  # into `patch_order`
SPACE = 4
HOST, HOST_PATCH = 5, 6  # of a reveal: the panel that it runs into, that panel's patch; else -1
PASSES_ON = 7  # 1 for an `open` panel
SHAPE = 8  # which of the shapes below its polygon has
PART_FROM, PART_TO = 9, 10  # into `cuts`, `sides` or `band`, as its shape says
EDGE_FROM, EDGE_TO = 11, 12
CARRIER = 13  # of a reveal: the panel it is cut in, mostly its HOST, but where it lies in a floor

# shapes of a polygon: its box without rectangles cut out of it; what lies on the inner side of a
# few lines; or edges by bands
BOXED, CONVEX, BANDED = 0, 1, 2

# columns of `Tables.node`
RIGHT, LEAF_FROM, LEAF_TO = 0, 1, 2  # right child, -1 for a leaf, which holds a range of panels
TELLING = 1  # of a node that is no leaf: 1 where its balls of normals are of use

# columns of `Tables.patch`
REGION_FROM, REGION_TO = 0, 1  # into `edges`
BEHIND = 2
FAR, PARTNER = 3, 4  # panel and patch that face it; else -1

# behind a patch; a part of the house that is left out counts as open air that no ground closes
OUTDOORS, EARTH, INDOORS, UNMODELLED = 0, 1, 2, 3

# Whole numbers that compiled functions hand on: numba compiles a function again for each type, and
# for a number written out.
whole: Callable[[SupportsInt], int] = cast(Any, np.int64)
NONE = whole(-1)  # no panel, space or host

GROWTH = 1e-7  # by which polygons reach past their edges, so that no ray slips between two [m]


class Tables(NamedTuple):
    """What the compiled walk reads. Lengths in metres, counted from the building's middle."""

    plane: Floats  # (panels, 16)
    panel: Ints  # (panels, 16), the last two of no use: a row is as long as memory is read
    cuts: Floats  # (cuts, 4): smallest and largest a, b of what is cut out of a box
    sides: Floats  # (k, 4): of convex polygons, each a plane (inward normal, offset), grown
    band: Ints  # (bands, 2): from which row of `edges` to which, of all other polygons
    edges: Floats  # (edges, 4): from a, b to a, b in the frame of their panel
    patch: Ints  # (patches, 5), in the order of Building.patches
    patch_box: Floats  # (patches, 4): smallest and largest a, b of one that fills them, else never
    patch_order: Ints  # (patches,) patches panel by panel
    space: Ints  # (spaces, 2): from which panel to which
    node: Ints  # (nodes, 3), as in `bvh.Trees`
    node_box: Boxes  # (nodes, 20)
    node_order: Ints  # panels leaf by leaf; -1 - panel where `node_sides` has it
    node_plane: Floats  # (as long, 4): their normals and offsets, side by side in memory
    node_sides: Floats  # (panels, 12): the same of the sides of triangles in the spaces' trees
    root: Ints  # (spaces + 1,): of each space's tree; of the one over all panels
    block: Ints  # (blocks, 2): from which side to which, of opaque blocks outdoors
    block_plane: Floats  # (sides, 4): outward normal and offset
    grade: float
    reach: float
    partial: float  # 1 where some patch leads to a part of the house that is not modelled, else 0
