# SPDX-License-Identifier: GPL-3.0-or-later
"""What is read on each frame, into buffers that are turned into world arrays once, for all frames together."""

from collections.abc import Sequence
from functools import cached_property
from typing import Any

import numpy as np

Array = np.ndarray


class PlaceReader:
    """The world matrices of one object, frame by frame."""

    def __init__(self, object: Any, frames: int) -> None:
        self.object = object
        self._matrices: list[Any] = []
        self._row = np.zeros(frames, int)
        self._known: Array | None = None

    @property
    def filled(self) -> bool:
        """Whether the whole motion is known already, so that no frame need be read."""
        return self._known is not None

    def fill(self, world: Array) -> None:
        """Takes the world matrices (F or 1, 4, 4) of all frames from elsewhere."""
        self._known = world

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
        return len(self._matrices if self._known is None else self._known) == 1

    def matrices(self) -> Array:
        """(F, 4, 4), or (1, 4, 4) where it never moved; scene units."""
        if self._known is not None:
            return self._known
        known = np.array([[tuple(row) for row in m] for m in self._matrices], float)
        return known if self.still() else known[self._row]


class PoseReader(PlaceReader):
    """The pose matrices of chosen bones of one armature object, in its own space, and its place."""

    def __init__(self, object: Any, bones: Sequence[str], frames: int) -> None:
        super().__init__(object, frames)
        self.wanted = tuple(bones)
        self._frames = frames
        self._posed: Array | None = None
        self._order = {name: i for i, name in enumerate(object.pose.bones.keys())}
        # Of a small rig all bones are kept, read straight into their place: choosing costs more than keeping.
        self._all = len(self._order) <= 2 * len(bones) + 16
        self._row_of = {name: i for i, name in enumerate(self._order if self._all else bones)}
        self._chosen = np.array([self._order[name] for name in self._row_of], int)

    def fill_pose(self, bones: Sequence[str], rows: Array) -> None:
        """Takes the matrices (3, 4, n, F or 1) of all frames from elsewhere."""
        self._posed, self._row_of = rows, {name: i for i, name in enumerate(bones)}

    @cached_property
    def _buffer(self) -> Array:
        return np.empty(16 * len(self._order), np.float32)

    @cached_property
    def _rows(self) -> Array:
        return np.empty((self._frames, len(self._row_of), 16), np.float32)

    def read(self, i: int, graph: Any) -> Any:
        now = super().read(i, graph)
        if self._all:
            now.pose.bones.foreach_get("matrix", self._rows[i].reshape(-1))
        else:
            now.pose.bones.foreach_get("matrix", self._buffer)
            np.take(self._buffer.reshape(-1, 16), self._chosen, axis=0, out=self._rows[i])
        return now

    def rows(self, bones: Sequence[str]) -> Array:
        """(3, 4, n, F) of these bones: turn and, fourth, place, in armature space and scene units; frames last."""
        chosen = [self._row_of[name] for name in bones]
        if self._posed is None:
            read = self._rows if chosen == list(range(len(self._row_of))) else self._rows[:, chosen]
            every = read.reshape(self._frames, len(chosen), 4, 4)
            return np.ascontiguousarray(every[..., :3].transpose(3, 2, 1, 0), dtype=float)
        found = self._posed[:, :, chosen]
        return np.broadcast_to(found, (*found.shape[:3], self._frames))


def carried(world: Array, rows: Array) -> tuple[Array, Array]:
    """Places (F, n, 3) and unscaled axes (F, n, 3, 3) in the world of ``rows`` (3, 4, n, F) under ``world`` (F or 1, 4,
    4). In memory their frames stay last.
    """
    turn, place = world[:, :3, :3].transpose(1, 2, 0)[:, :, None], world[:, :3, 3].T[:, None]
    axes, places = rows[:, :3], rows[:, 3]
    if len(world) > 1 or (world[0, :3, :3] != np.eye(3)).any():
        axes, places = times(turn, axes), applied(turn, places)
    return (places + place).transpose(2, 1, 0), axes.transpose(3, 2, 0, 1)


def times(a: Array, b: Array) -> Array:
    """Products of matrices (3, 3, ...)."""
    out = a[:, 0, None] * b[None, 0]
    for k in (1, 2):
        out += a[:, k, None] * b[None, k]
    return np.asarray(out)


def applied(a: Array, v: Array) -> Array:
    """Matrices (3, 3, ...) applied to vectors (3, ...)."""
    out = a[:, 0] * v[0]
    for k in (1, 2):
        out = out + a[:, k] * v[k]
    return np.asarray(out)
