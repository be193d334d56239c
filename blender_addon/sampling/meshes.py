# SPDX-License-Identifier: GPL-3.0-or-later
"""Reading one mesh of Blender's: its vertices, its triangles, its place."""

from typing import Any

import numpy as np

from .skins import Body

Array = np.ndarray


class Evaluated:
    """The evaluated mesh of a solid object as a context, None where it has none."""

    def __init__(self, object: Any, graph: Any) -> None:
        self._now = object.evaluated_get(graph)
        self._made = object.type != "MESH"

    def __enter__(self) -> Any:
        if not self._made:
            return self._now.data
        try:
            return self._now.to_mesh()
        except RuntimeError:  # no geometry, as in an empty text
            return None

    def __exit__(self, *_: object) -> None:
        if self._made:
            self._now.to_mesh_clear()


def positions(mesh: Any) -> Array:
    """(n, 3) vertex places in the object's own space, single floats as Blender keeps them."""
    buffer = np.empty(3 * len(mesh.vertices), np.float32)
    if len(buffer):
        mesh.attributes["position"].data.foreach_get("vector", buffer)
    return buffer.reshape(-1, 3)


def triangles_of(mesh: Any) -> Array:
    """(t, 3) vertex indices of the mesh's triangles."""
    mesh.calc_loop_triangles()
    buffer = np.empty(3 * len(mesh.loop_triangles), np.int32)
    mesh.loop_triangles.foreach_get("vertices", buffer)
    return buffer.reshape(-1, 3).astype(np.int64)


def world_of(body: Body, now: Any, graph: Any, unit: float) -> Array:
    """(4, 4) from the object's own space to world meters."""
    world = np.array(now.matrix_world, float)
    for carrier, offset in reversed(body.carriers):
        shift = np.eye(4)
        shift[:3, 3] = -np.array(offset)
        world = np.array(carrier.evaluated_get(graph).matrix_world, float) @ shift @ world
    world[:3] *= unit
    return world
