"""The edges of a mesh that an eye would draw: where it folds, ends, or forks."""

from __future__ import annotations

import numpy as np

from envelope.exchange.mesh.soup import Soup, next_corner, weld, without_slivers
from envelope.geometry.plane import Floats

_FOLD_COS = float(np.cos(np.radians(12.0)))  # flatter folds belong to one rounded surface
_MOST = 20_000


def drawn_edges(soup: Soup) -> Floats:
    """Edges of a soup but for those within flat or gently rounded surfaces.

    Parameters
    ----------
    soup : Soup
        In metres.

    Returns
    -------
    edges_m : (n, 2, 3) float
        The longest where there are more than twenty thousand. [m]
    """
    soup = without_slivers(weld(soup))
    if soup.faces == 0:
        return np.zeros((0, 2, 3))
    vectors = soup.area_vectors()
    normals = vectors / np.linalg.norm(vectors, axis=1, keepdims=True)
    ends = np.sort(np.stack((soup.corners, soup.corners[next_corner(soup.start)]), axis=1), axis=1)
    pairs, which, count = np.unique(ends, axis=0, return_inverse=True, return_counts=True)
    which = which.reshape(-1)
    order = np.argsort(which, kind="stable")
    first = np.cumsum(count) - count
    faces = soup.face_of[order]
    one, two = faces[first], faces[first + np.minimum(count, 2) - 1]
    flat = np.abs(np.einsum("ij,ij->i", normals[one], normals[two])) > _FOLD_COS
    edges = soup.points[pairs[(count != 2) | ~flat]]
    lengths = np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1)
    longest = np.argsort(-lengths, kind="stable")[:_MOST]
    return np.asarray(edges[longest])
