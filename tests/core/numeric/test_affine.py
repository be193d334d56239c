# SPDX-License-Identifier: GPL-3.0-or-later
"""Undoing affine maps, against numpy's own general inverse."""

import numpy as np
import pytest
from plumbline.core.numeric.affine import inverse, linear_inverse


def test_sheared_scaled_and_mirrored_maps_are_undone_as_numpy_undoes_them() -> None:
    random = np.random.default_rng(5)
    world = np.zeros((200, 4, 4))
    world[:, :3] = random.normal(size=(200, 3, 4)) * np.array([1e-3, 1.0, 50.0, 1e3])
    world[:, 3, 3] = 1.0
    np.testing.assert_allclose(inverse(world), np.linalg.inv(world), rtol=1e-7, atol=1e-7)
    np.testing.assert_allclose(inverse(world[3]), np.linalg.inv(world[3]), rtol=1e-9)
    np.testing.assert_allclose(inverse(inverse(world)), world, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(linear_inverse(world[:, :3, :3]), np.linalg.inv(world[:, :3, :3]), rtol=1e-8)


def test_a_flat_map_cannot_be_undone() -> None:
    flat = np.eye(4)
    flat[2, 2] = 0.0
    with pytest.raises(np.linalg.LinAlgError):
        inverse(flat)
