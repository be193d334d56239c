# SPDX-License-Identifier: GPL-3.0-or-later
"""Affine maps as 4 x 4 matrices (…, 4, 4), last row 0 0 0 1, and their linear parts (…, 3, 3): undoing them.

Written out by cofactors. numpy's own inverse costs several times as much on a stack of small matrices, and where its
linear algebra is threaded even one small matrix wakes threads that then spin for tens of milliseconds beside whatever
runs next.
"""

import numpy as np

from .rotation import cross, dot

Array = np.ndarray


def inverse(world: Array) -> Array:
    """The maps (…, 4, 4) that undo ``world`` (…, 4, 4). LinAlgError where one of them is flat."""
    world = np.asarray(world, float)
    out = np.zeros(world.shape)
    out[..., 3, 3] = 1.0
    turn = linear_inverse(world[..., :3, :3])
    out[..., :3, :3] = turn
    for row in range(3):
        out[..., row, 3] = -dot(turn[..., row, :], world[..., :3, 3])
    return out


def linear_inverse(matrix: Array) -> Array:
    """Inverses (…, 3, 3) of ``matrix`` (…, 3, 3). LinAlgError where one of them is flat."""
    matrix = np.asarray(matrix, float)
    a, b, c = (matrix[..., row, :] for row in range(3))
    columns = cross(b, c), cross(c, a), cross(a, b)
    volume = dot(a, columns[0])
    if not np.all(volume):
        raise np.linalg.LinAlgError("Singular matrix")
    out = np.empty(matrix.shape)
    for n, column in enumerate(columns):
        out[..., n] = column / volume[..., None]
    return out
