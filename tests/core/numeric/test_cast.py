# SPDX-License-Identifier: GPL-3.0-or-later
"""Drops on terrain against the height function that made it, and on stacked floors."""
import numpy as np
import pytest
from plumbline.core.numeric.cast import drop

UP = np.array([0.0, 0, 1])


def _terrain(n):
    """(2 n n, 3, 3) triangles over the square -1 .. 1 with heights 0.3 x + 0.2 y, exact on any triangulation."""
    x = np.linspace(-1, 1, n + 1)
    g = np.stack(np.meshgrid(x, x, indexing="ij"), -1)
    p = np.concatenate([g, (0.3 * g[..., :1] + 0.2 * g[..., 1:])], -1)
    a, b, c, d = p[:-1, :-1], p[1:, :-1], p[1:, 1:], p[:-1, 1:]
    return np.concatenate([np.stack([a, b, c], 2).reshape(-1, 3, 3), np.stack([a, c, d], 2).reshape(-1, 3, 3)])


@pytest.mark.parametrize("n", (1, 4, 40))
def test_heights_are_those_of_the_terrain(n):
    points = np.random.default_rng(2).uniform(-0.99, 0.99, (300, 3)) + [0, 0, 3]
    height, which = drop(points, _terrain(n), UP, 0.1)
    np.testing.assert_allclose(height, 0.3 * points[:, 0] + 0.2 * points[:, 1], atol=1e-9)
    assert (which >= 0).all()


def test_outside_and_overhead_is_nothing():
    points = np.array([[2.0, 0, 1], [0, 0, -1.0]])
    height, which = drop(points, _terrain(4), UP, 0.1)
    assert np.isnan(height).all() and (which == -1).all()


def test_the_highest_floor_below_counts_and_one_just_above():
    floor = _terrain(1) * [1, 1, 0]
    both = np.concatenate([floor, floor + [0, 0, 1.0]])
    height, _ = drop(np.array([[0.1, 0.2, 0.5], [0.1, 0.2, 0.95], [0.1, 0.2, 4.0]]), both, UP, 0.1)
    np.testing.assert_allclose(height, [0, 1, 1], atol=1e-12)


def test_turning_everything_changes_nothing():
    c, s = np.cos(0.8), np.sin(0.8)
    turn = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    points = np.random.default_rng(4).uniform(-0.9, 0.9, (50, 3)) + [0, 0, 2]
    told, _ = drop(points, _terrain(4), UP, 0.1)
    height, _ = drop(points @ turn.T, _terrain(4) @ turn.T, turn @ UP, 0.1)
    np.testing.assert_allclose(height, told, atol=1e-9)
