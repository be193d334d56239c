# SPDX-License-Identifier: GPL-3.0-or-later
"""What is read on each frame, into buffers that are turned into world arrays once, for all frames together."""

from collections.abc import Sequence
from typing import Any

import numpy as np

Array = np.ndarray


class PlaceReader:
    """The world matrices of one object, frame by frame."""

    def __init__(self, object: Any, frames: int) -> None:
        self.object = object
        self._matrices: list[Any] = []
        self._row = np.zeros(frames, int)

    def read(self, i: int, graph: Any) -> Any:
        """Reads frame ``i``; returns the evaluated object, for readers that want more of it."""
        now = self.object.evaluated_get(graph)
        world = now.matrix_world
        # Most armature objects stand still: keep one matrix for a run of equal ones. NaN is never equal, so it is kept.
        if not self._matrices or self._matrices[-1] != world:
            self._matrices.append(world.copy())
        self._row[i] = len(self._matrices) - 1
        return now

    def still(self) -> bool:
        return len(self._matrices) == 1

    def matrices(self) -> Array:
        """(F, 4, 4), or (1, 4, 4) where it never moved; scene units."""
        known = np.array([[tuple(row) for row in m] for m in self._matrices], float)
        return known if self.still() else known[self._row]


class PoseReader(PlaceReader):
    """The pose matrices of chosen bones of one armature object, in its own space, and its place."""

    def __init__(self, object: Any, bones: Sequence[str], frames: int) -> None:
        super().__init__(object, frames)
        order = {name: i for i, name in enumerate(object.pose.bones.keys())}
        # Of a small rig all bones are kept, read straight into their place: choosing costs more than keeping.
        self._all = len(order) <= 2 * len(bones) + 16
        self.bones = tuple(order) if self._all else tuple(bones)
        self.row = {name: i for i, name in enumerate(self.bones)}
        self._chosen = np.array([order[name] for name in self.bones], int)
        self._buffer = np.empty(16 * len(order), np.float32)
        self._wide = self._buffer.reshape(-1, 16)
        self._rows = np.empty((frames, len(self.bones), 16), np.float32)

    def read(self, i: int, graph: Any) -> Any:
        now = super().read(i, graph)
        if self._all:
            now.pose.bones.foreach_get("matrix", self._rows[i].reshape(-1))
        else:
            now.pose.bones.foreach_get("matrix", self._buffer)
            np.take(self._wide, self._chosen, axis=0, out=self._rows[i])
        return now

    def local(self, bones: Sequence[str]) -> Array:
        """(F, n, 4, 4) pose matrices of these bones in armature space, float32, scene units."""
        chosen = [self.row[name] for name in bones]
        n = len(self._rows)
        return self._rows[:, chosen].reshape(n, len(chosen), 4, 4).transpose(0, 1, 3, 2)


def carried(world: Array, local: Array) -> tuple[Array, Array]:
    """Places (F, n, 3) and unscaled axes (F, n, 3, 3) in the world of ``local`` (F, n, 4, 4) under ``world`` (F or 1,
    4, 4).
    """
    local = local.astype(float)
    turn = world[:, :3, :3]
    if len(world) == 1:
        axes = np.einsum("ij,fnjk->fnik", turn[0], local[..., :3, :3], optimize=True)
        places = local[..., :3, 3] @ turn[0].T + world[0, :3, 3]
    else:
        axes = turn[:, None] @ local[..., :3, :3]
        places = (turn[:, None] @ local[..., :3, 3, None])[..., 0] + world[:, None, :3, 3]
    return places, axes
