# SPDX-License-Identifier: GPL-3.0-or-later
"""Which faces meet at which edges: computed once for a mesh, used for its outline in every frame."""

from collections.abc import Generator
from dataclasses import dataclass

import numpy as np

from ..steps import finished

Array = np.ndarray

#: Vertices nearer than this share of the mesh's size are one for the topology: imported skins double them along seams.
WELD = 1e-5


@dataclass(frozen=True, slots=True)
class Topology:
    """vertices (n,): ids in the caller's vertex array; triangles (t, 3), edges (m, 2): positions in ``vertices``, in
    edges always the same one of those that coincide; faces (m, 2): the triangles on both sides of an edge, the same
    twice at a rim; flip (m,): the two faces are wound against each other; rim (m,): the edge counts in every view (one
    face, or more than two)."""

    vertices: Array
    triangles: Array
    edges: Array
    faces: Array
    flip: Array
    rim: Array


def weld(places: Array) -> Array:
    """For each of the places (N, 3) the index of the first place that it coincides with, (N,)."""
    places = np.asarray(places, float)
    if not len(places):
        return np.zeros(0, int)
    size = float(np.ptp(places, axis=0).max()) or 1.0
    cells = np.floor((places - places.min(axis=0)) / (size * WELD) + 0.5).astype(np.int64)
    key = (cells[:, 0] << 42) ^ (cells[:, 1] << 21) ^ cells[:, 2]
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    out: Array = first[inverse.ravel()]
    return out


def topology(triangles: Array, welded: Array) -> Topology:
    """The topology of triangles (T, 3), vertex ids; welded (N,) as from ``weld``. Triangles that have no area by their
    welded corners are left out."""
    return finished(topology_steps(triangles, welded))


def topology_steps(triangles: Array, welded: Array) -> Generator[None, None, Topology]:
    """``topology`` in steps, each of which sorts the corners of the mesh once."""
    triangles = np.asarray(triangles, np.int64).reshape(-1, 3)
    w = welded[triangles]
    whole = (w[:, 0] != w[:, 1]) & (w[:, 1] != w[:, 2]) & (w[:, 2] != w[:, 0])
    triangles, w = triangles[whole], w[whole]
    vertices, local = np.unique(triangles, return_inverse=True)
    local = local.reshape(-1, 3)
    yield
    start, stop = local[:, (0, 1, 2)].ravel(), local[:, (1, 2, 0)].ravel()
    ws, we = w[:, (0, 1, 2)].ravel(), w[:, (1, 2, 0)].ravel()
    face = np.repeat(np.arange(len(local)), 3)
    key = np.minimum(ws, we) * (int(welded.max(initial=0)) + 1) + np.maximum(ws, we)
    order = np.argsort(key, kind="stable")
    yield
    _, place, same = np.unique(welded[vertices], return_index=True, return_inverse=True)
    start, stop = place[same.ravel()[start]], place[same.ravel()[stop]]
    yield
    _, first, count = np.unique(key[order], return_index=True, return_counts=True)
    yield
    two = first[count == 2]
    one, other = order[two], order[two + 1]
    rim = order[np.repeat(count != 2, count)]
    edge = np.concatenate([one, rim])
    # Their columns are what is read frame by frame, so these lie together.
    return Topology(
        vertices=vertices,
        triangles=np.asfortranarray(local),
        edges=np.stack([start[edge], stop[edge]]).T,
        faces=np.stack([face[edge], face[np.concatenate([other, rim])]]).T,
        flip=np.concatenate([(ws[one] < we[one]) == (ws[other] < we[other]), np.zeros(len(rim), bool)]),
        rim=np.concatenate([np.zeros(len(one), bool), np.ones(len(rim), bool)]),
    )
