# SPDX-License-Identifier: GPL-3.0-or-later
"""The center of volume of closed faces, against closed forms and a cloud of points."""

import numpy as np
import pytest
from plumbline.core.numeric.enclosed import center_of_room

FACES = ((0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3))


def tetrahedron(corners):
    return np.asarray(corners, float)[np.array(FACES)]


def test_a_tetrahedrons_is_the_mean_of_its_corners_wherever_it_lies():
    rng = np.random.default_rng(3)
    for _ in range(20):
        corners = rng.normal(size=(4, 3)) + rng.normal(size=3) * 100
        np.testing.assert_allclose(center_of_room(tetrahedron(corners)), corners.mean(0), atol=1e-9)
        np.testing.assert_allclose(center_of_room(tetrahedron(corners)[:, ::-1]), corners.mean(0), atol=1e-9)


def test_a_hammers_lies_near_its_head():
    def box(low, high):
        corners = np.array([[(low, high)[b >> k & 1][k] for k in range(3)] for b in range(8)], float)
        quads = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
        return np.array([corners[list(t)] for q in quads for t in (q[:3], (q[0], q[2], q[3]))])
    shaft, head = box((-1, -1, 0), (1, 1, 30)), box((-2, -6, 30), (2, 6, 34))
    middle = (120 * np.array([0, 0, 15]) + 192 * np.array([0, 0, 32])) / 312
    np.testing.assert_allclose(center_of_room(np.concatenate([shaft, head])), middle, atol=1e-9)


def test_open_flat_and_broken_faces_have_none():
    closed = tetrahedron(np.eye(4)[:, :3])
    assert center_of_room(closed) is not None and center_of_room(closed[:3]) is None
    sheet = np.concatenate([closed[:1], closed[:1, ::-1]])
    assert center_of_room(sheet) is None and center_of_room(closed * np.nan) is None
    assert center_of_room(np.zeros((0, 3, 3))) is None
    with pytest.raises(ValueError, match="expected"):
        center_of_room(np.zeros((3, 3)))
