# SPDX-License-Identifier: GPL-3.0-or-later
"""Meshes as triangles: those that need no evaluation, which of them lie near some points, whether they have an area."""

from typing import Any

import numpy as np

Array = np.ndarray

#: Area, over the square of a mesh's own size, under which a marked ground is a line or a point.
LEAST_AREA = 1e-10


def plain(object: Any) -> bool:
    """Whether an object's mesh is what Blender shows of it: nothing bends it, nobody edits it."""
    data = object.data
    return (
        object.type == "MESH"
        and data is not None
        and not len(object.modifiers)
        and data.shape_keys is None
        and not data.is_editmode
    )


def triangles_of(mesh: Any) -> Array:
    """A mesh's triangles (T, 3, 3) in its own space."""
    mesh.calc_loop_triangles()
    corners = np.empty(3 * len(mesh.loop_triangles), np.int32)
    mesh.loop_triangles.foreach_get("vertices", corners)
    points = np.empty(3 * len(mesh.vertices), np.float32)
    mesh.vertices.foreach_get("co", points)
    return np.asarray(points.reshape(-1, 3).astype(float)[corners.reshape(-1, 3)])


def over(triangles: Array, world: Array, points: Array) -> Array:
    """The triangles (T, 3, 3) under a world matrix (4, 4), in the world, that are met somewhere straight above or below
    the points (N, 3) or the box round them."""
    columns = triangles.reshape(-1, 3).T
    keep = np.ones(len(triangles), bool)
    for axis in range(2):
        with np.errstate(invalid="ignore"):  # a point that is no number lies nowhere
            place = world[axis, 0] * columns[0] + world[axis, 1] * columns[1] + world[axis, 2] * columns[2]
        a, b, c = (place[k::3] + world[axis, 3] for k in range(3))
        slack = 1e-6 * max(float(np.ptp(points[:, axis])), 1.0)
        keep &= np.minimum(np.minimum(a, b), c) <= points[:, axis].max() + slack
        keep &= np.maximum(np.maximum(a, b), c) >= points[:, axis].min() - slack
    some = triangles[keep] @ world[:3, :3].T + world[:3, 3]
    return np.asarray(some[np.isfinite(some).all((1, 2))])


def spreads(triangles: Array, world: Array) -> bool:
    """Whether triangles (T, 3, 3) have any area on any of the frames of world (1 or F, 4, 4), however large the
    thing is."""
    size = float(np.abs(triangles).max()) or 1.0
    for turn in world[np.unique(np.linspace(0, len(world) - 1, 9).astype(int)), :3, :3]:
        for some in (triangles[:16], triangles):  # most things show on a few triangles that they spread
            edges = (some[:, 1:] - some[:, :1]) / size
            (ax, ay, az), (bx, by, bz) = (edges @ turn.T).transpose(1, 2, 0)
            x, y, z = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
            if float((x * x + y * y + z * z).max()) > LEAST_AREA**2:
                return True
    return False
